"use strict";
// Zooming and moving of the pictures. Everything else works without this script.
document.documentElement.classList.add("scripted");
const MOST = 24;
const figures = new Map();

// Wheel, fingers and keys on a stage; the view zooms to a factor about a point of the stage, and moves by pixels.
function gestures(stage, view) {
  const pointers = new Map();
  const place = (event) => {
    const box = stage.getBoundingClientRect();
    return [event.clientX - box.left, event.clientY - box.top];
  };
  stage.addEventListener("wheel", (event) => {
    if (!event.ctrlKey && !view.takesWheel) return; // the page scrolls
    event.preventDefault();
    view.zoomTo(view.zoom * Math.exp(-event.deltaY * (event.ctrlKey ? 0.01 : 0.002)), ...place(event));
  }, { passive: false });
  stage.addEventListener("dblclick", (event) => view.zoomTo(view.zoom < 6 ? view.zoom * 2.5 : 1, ...place(event)));
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
      view.zoomTo(view.zoom * spread, (now[0] + ox) / 2, (now[1] + oy) / 2);
    } else if (view.zoom > 1 || view.drag) {
      if (!stage.hasPointerCapture(event.pointerId) && Math.hypot(now[0] - before[0], now[1] - before[1]) > 1) stage.setPointerCapture(event.pointerId);
      if (view.zoom > 1) view.move(now[0] - before[0], now[1] - before[1]); else view.drag(now[0]);
    }
  });
  for (const end of ["pointerup", "pointercancel", "pointerleave"]) {
    stage.addEventListener(end, (event) => pointers.delete(event.pointerId));
  }
  stage.tabIndex = 0;
  stage.addEventListener("keydown", (event) => {
    if (event.ctrlKey || event.metaKey || event.altKey) return;
    const step = stage.clientWidth / 6;
    const act = {
      "+": () => view.zoomTo(view.zoom * 1.5), "=": () => view.zoomTo(view.zoom * 1.5), "-": () => view.zoomTo(view.zoom / 1.5), "0": () => view.zoomTo(1),
      ArrowLeft: () => view.move(step, 0), ArrowRight: () => view.move(-step, 0), ArrowUp: () => view.move(0, step), ArrowDown: () => view.move(0, -step),
    }[event.key];
    if (!act || (view.zoom === 1 && event.key.startsWith("Arrow"))) return;
    event.preventDefault();
    act();
  });
}

// Lines and numbers of a drawing stay as large on the screen as they are, whatever the zoom.
function steadied(parts) {
  const lines = parts.flatMap((part) => [...part.querySelectorAll("[stroke-width]")]).map((path) => [
    path, Number(path.getAttribute("stroke-width")), (path.getAttribute("stroke-dasharray") || "").split(" ").filter(Boolean).map(Number),
  ]);
  const tags = parts.flatMap((part) => [...part.querySelectorAll(".tag")]);
  return (zoom) => {
    for (const [path, stroke, dashes] of lines) {
      path.style.strokeWidth = zoom === 1 ? "" : stroke / zoom;
      path.style.strokeDasharray = zoom === 1 || !dashes.length ? "" : dashes.map((d) => d / zoom).join(" ");
    }
    for (const tag of tags) tag.style.scale = zoom === 1 ? "" : `${1 / zoom}`;
  };
}

// Tell by how much a stage has grown, so that the same place stays in the middle.
function resized(stage, tell) {
  let width = stage.clientWidth;
  new ResizeObserver(() => {
    const now = stage.clientWidth;
    tell(width && now ? now / width : 1);
    width = now || width;
  }).observe(stage);
}

// A round length for the scale bar of a figure that shows so many micrometres across.
function scaled(figure, across) {
  const bar = figure.querySelector(".bar rect");
  if (!bar) return;
  const room = across / 3;
  const power = 10 ** Math.floor(Math.log10(room));
  const length = [5, 2, 1].find((step) => step * power <= room) * power;
  bar.setAttribute("width", 1000 * length / across);
  const mm = length >= 1000;
  figure.querySelector(".length").textContent = `${(mm ? length / 1000 : length).toLocaleString(document.documentElement.lang)}\u00a0${mm ? "mm" : "µm"}`;
}

function viewer(figure) {
  const stage = figure.querySelector(".stage");
  const moved = stage.querySelector(".moved");
  const small = moved.querySelector("img");
  const large = figure.querySelector(".large");
  const block = document.getElementById(figure.dataset.full);
  const steady = steadied([moved]);
  let zoom = 1, x = 0, y = 0, full = null;

  // Width of the picture inside its frame, as object-fit: contain lays it.
  const fitted = () => {
    const ratio = small.getAttribute("width") / small.getAttribute("height");
    return Math.min(stage.clientWidth, stage.clientHeight * ratio);
  };
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
    steady(zoom);
    scaled(figure, figure.dataset.um * stage.clientWidth / (fitted() * zoom));
    sharpen();
  }
  function zoomTo(wanted, atX = stage.clientWidth / 2, atY = stage.clientHeight / 2) {
    const next = Math.min(MOST, Math.max(1, wanted));
    x = atX - (atX - x) * next / zoom;
    y = atY - (atY - y) * next / zoom;
    zoom = next;
    show();
  }
  const view = {
    get zoom() { return zoom; }, get takesWheel() { return large.checked || zoom > 1; },
    zoomTo, move(dx, dy) { x += dx; y += dy; show(); },
  };
  gestures(stage, view);
  moved.addEventListener("dragstart", (event) => event.preventDefault());
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
  resized(stage, (by) => { x *= by; y *= by; show(); });
  addEventListener("beforeprint", () => zoomTo(1));

  return function (number) {
    zoomTo(1);
    const near = nearTo(moved, stage.getBoundingClientRect(), number);
    if (near) [zoom, x, y] = near;
    show();
  };
}

// Zoom and shift that show one mark of a layer from near in a box of the page.
function nearTo(layer, box, number) {
  const mark = layer.querySelector(`g:not(.tag)[data-n="${number}"] path:last-of-type`);
  if (!mark) return null;
  const at = mark.getBoundingClientRect();
  const zoom = Math.min(8, Math.max(2, 0.4 * Math.min(box.width / at.width, box.height / at.height)));
  return [zoom, box.width / 2 - (at.left + at.width / 2 - box.left) * zoom, box.height / 2 - (at.top + at.height / 2 - box.top) * zoom];
}

// Before and after, laid on one another; both move and grow together.
function days(figure) {
  const pair = figure.querySelector(".pair"), after = figure.querySelector(".after"), line = figure.querySelector(".line");
  const divider = figure.querySelector(".divider"), difference = figure.querySelector(".difference");
  const layers = [...figure.querySelectorAll(".moved")];
  const steady = steadied(layers);
  let zoom = 1, x = 0, y = 0, blinking = 0;
  const side = () => figure.dataset.way === "side";
  const box = () => [side() ? (pair.clientWidth - 4) / 2 : pair.clientWidth, pair.clientHeight];
  function show() {
    const [width, height] = box();
    x = Math.min(0, Math.max(width * (1 - zoom), x));
    y = Math.min(0, Math.max(height * (1 - zoom), y));
    for (const layer of layers) layer.style.transform = zoom === 1 ? "" : `translate(${x}px, ${y}px) scale(${zoom})`;
    pair.classList.toggle("zoomed", zoom > 1);
    steady(zoom);
    scaled(figure, figure.dataset.um / zoom);
    const swiped = figure.dataset.way === "swipe";
    after.style.clipPath = swiped ? `inset(0 0 0 ${divider.value}%)` : "";
    line.style.left = `${divider.value}%`;
  }
  const view = {
    get zoom() { return zoom; }, get takesWheel() { return zoom > 1; },
    zoomTo(wanted, atX = box()[0] / 2, atY = box()[1] / 2) {
      const next = Math.min(MOST / 2, Math.max(1, wanted));
      if (side()) atX %= box()[0] + 4;
      x = atX - (atX - x) * next / zoom;
      y = atY - (atY - y) * next / zoom;
      zoom = next;
      show();
    },
    move(dx, dy) { x += dx; y += dy; show(); },
    drag(atX) {
      if (figure.dataset.way !== "swipe") return;
      divider.value = 100 * atX / pair.clientWidth;
      show();
    },
  };
  gestures(pair, view);
  pair.addEventListener("dragstart", (event) => event.preventDefault());
  function choose(way) {
    figure.dataset.way = way;
    clearInterval(blinking);
    figure.classList.remove("second");
    // Well below three flashes a second; any other way of showing ends it.
    if (way === "blink") blinking = setInterval(() => figure.classList.toggle("second"), 900);
    for (const button of figure.querySelectorAll("[data-way]")) button.setAttribute("aria-pressed", button.dataset.way === way);
    divider.hidden = way !== "swipe";
    difference.hidden = figure.querySelector(".difference-key").hidden = way !== "difference";
    for (const day of figure.querySelectorAll(".before, .after")) day.hidden = way === "difference";
    view.zoomTo(1);
  }
  for (const buttons of figure.querySelectorAll(".buttons")) buttons.hidden = false;
  figure.addEventListener("click", (event) => {
    const button = event.target.closest("button");
    const { way, zoom: by } = button?.dataset ?? {};
    if (button?.classList.contains("marks")) button.setAttribute("aria-pressed", !figure.classList.toggle("unmarked"));
    if (way) choose(way);
    else if (by) view.zoomTo(Number(by) ? zoom * Number(by) : 1);
  });
  divider.addEventListener("input", show);
  resized(pair, (by) => { x *= by; y *= by; show(); });
  addEventListener("beforeprint", () => choose("side"));
  choose("swipe");

  return function (number) {
    view.zoomTo(1);
    const seen = figure.dataset.way === "difference" ? difference : figure.querySelector(".before");
    const near = nearTo(seen.querySelector(".moved"), seen.getBoundingClientRect(), number);
    if (near) [zoom, x, y] = near;
    show();
  };
}

for (const figure of document.querySelectorAll("figure.days")) figures.set(figure, days(figure));
for (const figure of document.querySelectorAll("figure[data-full]")) figures.set(figure, viewer(figure));
document.addEventListener("click", (event) => {
  const link = event.target.closest("a.badge, a.mark");
  const figure = link && document.getElementById(link.getAttribute("href").slice(1))?.closest("figure");
  if (!figure) return;
  event.preventDefault(); // the number stands at the edge, its mark inside
  const number = link.closest("tr").dataset.n;
  if (figure.classList.contains("unmarked")) figure.querySelector("button.marks").click();
  for (const mark of document.querySelectorAll(".lit")) mark.classList.remove("lit");
  for (const mark of figure.querySelectorAll(`[data-n="${number}"]`)) mark.classList.add("lit");
  const stage = figure.querySelector(".stage, .pair");
  stage.scrollIntoView({ block: "center" });
  stage.focus({ preventScroll: true });
  figures.get(figure)(number);
});
