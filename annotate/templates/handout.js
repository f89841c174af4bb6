"use strict";
// Zooming and moving of the pictures. Everything else works without this script.
document.documentElement.classList.add("scripted");
const MOST = 24;
const figures = new Map();

function viewer(figure) {
  const stage = figure.querySelector(".stage");
  const moved = stage.querySelector(".moved");
  const small = moved.querySelector("img");
  const large = figure.querySelector(".large");
  const bar = figure.querySelector(".bar rect");
  const label = figure.querySelector(".length");
  const block = document.getElementById(figure.dataset.full);
  const lines = [...moved.querySelectorAll("[stroke-width]")].map((path) => [
    path, Number(path.getAttribute("stroke-width")), (path.getAttribute("stroke-dasharray") || "").split(" ").filter(Boolean).map(Number),
  ]);
  const tags = [...moved.querySelectorAll(".tag")];
  const pointers = new Map();
  let zoom = 1, x = 0, y = 0, full = null;

  // Width of the picture inside its frame, as object-fit: contain lays it.
  const fitted = () => {
    const ratio = small.getAttribute("width") / small.getAttribute("height");
    return Math.min(stage.clientWidth, stage.clientHeight * ratio);
  };
  function measure() {
    if (!bar) return;
    const umPerPx = Number(figure.dataset.um) / (fitted() * zoom);
    const room = stage.clientWidth * umPerPx / 3;
    const power = 10 ** Math.floor(Math.log10(room));
    const length = [5, 2, 1].find((step) => step * power <= room) * power;
    bar.setAttribute("width", 1000 * length / (stage.clientWidth * umPerPx));
    const mm = length >= 1000;
    label.textContent = `${(mm ? length / 1000 : length).toLocaleString(document.documentElement.lang)}\u00a0${mm ? "mm" : "µm"}`;
  }
  function sharpen() {
    const needed = fitted() * zoom * devicePixelRatio > 1.1 * small.naturalWidth;
    if (needed && !full && block) {
      full = new Image();
      full.alt = "";
      full.className = "full";
      full.src = "data:image/jpeg;base64," + block.textContent;
      const picture = full;
      picture.decode().then(() => { if (full === picture) small.after(picture); }, () => {});
    } else if (zoom === 1 && !large.checked && full) {
      full.remove();
      full = null;
    }
  }
  function show() {
    const width = stage.clientWidth, height = stage.clientHeight;
    x = Math.min(0, Math.max(width * (1 - zoom), x));
    y = Math.min(0, Math.max(height * (1 - zoom), y));
    moved.style.transform = zoom === 1 ? "" : `translate(${x}px, ${y}px) scale(${zoom})`;
    stage.classList.toggle("zoomed", zoom > 1);
    for (const [path, stroke, dashes] of lines) {
      path.style.strokeWidth = zoom === 1 ? "" : stroke / zoom;
      path.style.strokeDasharray = zoom === 1 || !dashes.length ? "" : dashes.map((d) => d / zoom).join(" ");
    }
    for (const tag of tags) tag.style.scale = zoom === 1 ? "" : `${1 / zoom}`;
    measure();
    sharpen();
  }
  function zoomTo(wanted, atX = stage.clientWidth / 2, atY = stage.clientHeight / 2) {
    const next = Math.min(MOST, Math.max(1, wanted));
    x = atX - (atX - x) * next / zoom;
    y = atY - (atY - y) * next / zoom;
    zoom = next;
    show();
  }
  const place = (event) => {
    const box = stage.getBoundingClientRect();
    return [event.clientX - box.left, event.clientY - box.top];
  };

  stage.addEventListener("wheel", (event) => {
    if (!event.ctrlKey && !large.checked && zoom === 1) return; // the page scrolls
    event.preventDefault();
    zoomTo(zoom * Math.exp(-event.deltaY * (event.ctrlKey ? 0.01 : 0.002)), ...place(event));
  }, { passive: false });
  stage.addEventListener("dblclick", (event) => zoomTo(zoom < 6 ? zoom * 2.5 : 1, ...place(event)));
  stage.addEventListener("pointerdown", (event) => pointers.set(event.pointerId, place(event)));
  stage.addEventListener("pointermove", (event) => {
    const before = pointers.get(event.pointerId);
    if (!before) return;
    const now = place(event);
    const other = [...pointers].find(([id]) => id !== event.pointerId);
    pointers.set(event.pointerId, now);
    if (other) {
      const [ox, oy] = other[1];
      const spread = Math.hypot(now[0] - ox, now[1] - oy) / Math.max(1, Math.hypot(before[0] - ox, before[1] - oy));
      zoomTo(zoom * spread, (now[0] + ox) / 2, (now[1] + oy) / 2);
    } else if (zoom > 1) {
      if (!stage.hasPointerCapture(event.pointerId) && Math.hypot(now[0] - before[0], now[1] - before[1]) > 1) stage.setPointerCapture(event.pointerId);
      x += now[0] - before[0];
      y += now[1] - before[1];
      show();
    }
  });
  for (const end of ["pointerup", "pointercancel", "pointerleave"]) {
    stage.addEventListener(end, (event) => pointers.delete(event.pointerId));
  }
  moved.addEventListener("dragstart", (event) => event.preventDefault());
  stage.tabIndex = 0;
  stage.addEventListener("keydown", (event) => {
    if (event.ctrlKey || event.metaKey || event.altKey) return;
    const step = stage.clientWidth / 6;
    const act = {
      "+": () => zoomTo(zoom * 1.5), "=": () => zoomTo(zoom * 1.5), "-": () => zoomTo(zoom / 1.5), "0": () => zoomTo(1),
      ArrowLeft: () => { x += step; show(); }, ArrowRight: () => { x -= step; show(); },
      ArrowUp: () => { y += step; show(); }, ArrowDown: () => { y -= step; show(); },
    }[event.key];
    if (!act || (zoom === 1 && event.key.startsWith("Arrow"))) return;
    event.preventDefault();
    act();
  });
  const buttons = figure.querySelector(".buttons");
  buttons.hidden = false;
  buttons.addEventListener("click", (event) => {
    const by = event.target.closest("button")?.dataset.zoom;
    if (by) zoomTo(Number(by) ? zoom * Number(by) : 1);
  });
  large.addEventListener("change", () => {
    // What lies behind the enlarged picture cannot be reached meanwhile.
    for (let part = figure; part !== document.body; part = part.parentElement) {
      for (const beside of part.parentElement.children) if (beside !== part) beside.inert = large.checked;
    }
    zoomTo(1);
  });
  figure.addEventListener("keydown", (event) => { if (event.key === "Escape" && large.checked) large.click(); });
  new ResizeObserver(show).observe(stage);
  addEventListener("beforeprint", () => zoomTo(1));

  return function (number) { // show one mark from near
    const mark = moved.querySelector(`g:not(.tag)[data-n="${number}"] path:last-of-type`);
    if (!mark) return;
    zoomTo(1);
    const box = stage.getBoundingClientRect(), at = mark.getBoundingClientRect();
    const atX = at.left + at.width / 2 - box.left, atY = at.top + at.height / 2 - box.top;
    zoom = Math.min(8, Math.max(2, 0.4 * Math.min(box.width / at.width, box.height / at.height)));
    x = box.width / 2 - atX * zoom;
    y = box.height / 2 - atY * zoom;
    show();
  };
}

for (const figure of document.querySelectorAll("figure[data-full]")) figures.set(figure, viewer(figure));
document.addEventListener("click", (event) => {
  const badge = event.target.closest(".badge[href]");
  const figure = badge && document.getElementById(badge.getAttribute("href").slice(1))?.closest("figure");
  if (!figure) return;
  event.preventDefault(); // the number stands at the edge, its mark inside
  const number = badge.closest("tr").dataset.n;
  for (const mark of document.querySelectorAll(".overlay .lit")) mark.classList.remove("lit");
  for (const mark of figure.querySelectorAll(`[data-n="${number}"]`)) mark.classList.add("lit");
  const stage = figure.querySelector(".stage");
  stage.scrollIntoView({ block: "center" });
  stage.focus({ preventScroll: true });
  figures.get(figure)(number);
});
