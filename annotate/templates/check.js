"use strict";
// The same checks and the same answers as setstone/annotate/package/checking.py; TOLD holds the texts.
const LISTS = { "SHA-256": ["manifest-sha256.txt", "tagmanifest-sha256.txt"], "SHA-512": ["manifest-sha512.txt", "tagmanifest-sha512.txt"] };
const SIGNED_LIST = "tagmanifest-sha256.txt", SIGNATURE = "tagmanifest-sha256.txt.sig", PUBLIC_KEY = "public-key.pem";
const HANDOUT = "data/hand-out.html", CLOCKS_DIFFER_MS = 10 * 60 * 1000;
const UNLISTED = new Set([SIGNATURE, ...Object.values(LISTS).map(pair => pair[1])]);

class Refused extends Error {}

function text(name, values = {}) {
  const found = name.split(".").reduce((part, key) => part[key], TOLD.texts);
  return found.replace(/\{(\w+)\}/g, (_, key) => String(values[key]));
}

// A name from outside: it can neither turn the reading direction nor pass for more text.
function shown(name) {
  const plain = Array.from(name, c => (c !== " " && /[\p{C}\p{Z}]/u.test(c) ? "?" : c));
  return `'${plain.slice(0, 120).join("")}${plain.length > 120 ? "…" : ""}'`;
}

function answer(code, name) {
  const kind = TOLD.kinds.find(([beginning]) => name.startsWith(beginning))[1];
  return { code, text: text(code, { what: text(`what.${kind}`), file: shown(name) }) };
}

const decoded = bytes => new TextDecoder().decode(bytes);
const hex = buffer => Array.from(new Uint8Array(buffer), b => b.toString(16).padStart(2, "0")).join("");
const grouped = digest => digest.match(/.{1,4}/g).join(" ");
const bare = fingerprint => fingerprint.replace(/\s/g, "").toLowerCase();
const byName = (a, b) => { // by code points, as everywhere else
  const [x, y] = [Array.from(a), Array.from(b)];
  for (let i = 0; i < Math.min(x.length, y.length); i++) {
    if (x[i] !== y[i]) return x[i].codePointAt(0) - y[i].codePointAt(0);
  }
  return x.length - y.length;
};

function leadsOut(name) {
  return !name || /^[/~]/.test(name) || /[\\:\0]/.test(name) || name.split("/").some(part => ["", ".", ".."].includes(part));
}

// A zip by its central directory (PKWARE APPNOTE 6.3, 4.3.12), read where it lies: Map of name to { size, bytes() }.
async function readZip(file) {
  const tailAt = Math.max(0, file.size - 65557);
  const tail = new DataView(await file.slice(tailAt).arrayBuffer());
  let end = tail.byteLength - 22;
  while (end >= 0 && tail.getUint32(end, true) !== 0x06054b50) end--;
  if (end < 0) throw new Refused(text("damaged"));
  let [count, length, start] = [tail.getUint16(end + 10, true), tail.getUint32(end + 12, true), tail.getUint32(end + 16, true)];
  if (end >= 20 && tail.getUint32(end - 20, true) === 0x07064b50) { // ZIP64 (4.3.14)
    const at = Number(tail.getBigUint64(end - 12, true));
    const view = new DataView(await file.slice(at, at + 56).arrayBuffer());
    [count, length, start] = [32, 40, 48].map(offset => Number(view.getBigUint64(offset, true)));
  }
  if (count > TOLD.most.files || length > TOLD.most.text) throw new Refused(text("too_large"));
  const directory = new DataView(await file.slice(start, start + length).arrayBuffer());
  const entries = new Map(), alike = new Set();
  for (let at = 0, n = 0; n < count; n++) {
    if (directory.getUint32(at, true) !== 0x02014b50) throw new Refused(text("damaged"));
    const [flags, method] = [directory.getUint16(at + 8, true), directory.getUint16(at + 10, true)];
    const [nameLength, extraLength, noteLength] = [28, 30, 32].map(o => directory.getUint16(at + o, true));
    let [packed, size, offset] = [20, 24, 42].map(o => directory.getUint32(at + o, true));
    const name = decoded(new Uint8Array(directory.buffer, at + 46, nameLength));
    for (let e = at + 46 + nameLength, stop = e + extraLength; e + 4 <= stop; e += 4 + directory.getUint16(e + 2, true)) {
      if (directory.getUint16(e, true) !== 1) continue;
      let field = e + 4;
      const wide = value => { if (value !== 0xffffffff) return value; field += 8; return Number(directory.getBigUint64(field - 8, true)); };
      [size, packed, offset] = [wide(size), wide(packed), wide(offset)];
    }
    const isLink = ((directory.getUint32(at + 38, true) >>> 16) & 0xf000) === 0xa000;
    at += 46 + nameLength + extraLength + noteLength;
    if (name.endsWith("/")) continue;
    if (leadsOut(name) || isLink) throw new Refused(text("leads_out", { file: shown(name) }));
    const folded = name.normalize("NFC").toLowerCase();
    if (alike.has(folded)) throw new Refused(text("twice", { file: shown(name) }));
    alike.add(folded);
    if (flags & 1 || ![0, 8].includes(method)) throw new Refused(text("damaged"));
    entries.set(name, { size, bytes: () => unpacked(file, offset, packed, size, method) });
  }
  const sum = Array.from(entries.values()).reduce((all, entry) => all + entry.size, 0);
  if (sum > Math.max(TOLD.most.large, TOLD.most.packed * file.size)) throw new Refused(text("too_large"));
  return entries;
}

async function unpacked(file, offset, packed, size, method) {
  const head = new DataView(await file.slice(offset, offset + 30).arrayBuffer());
  if (head.getUint32(0, true) !== 0x04034b50) throw new Error("no entry");
  const start = offset + 30 + head.getUint16(26, true) + head.getUint16(28, true);
  const part = file.slice(start, start + packed);
  if (method === 0) return new Uint8Array(await part.arrayBuffer());
  const reader = part.stream().pipeThrough(new DecompressionStream("deflate-raw")).getReader();
  const whole = new Uint8Array(size);
  for (let at = 0; ;) { // never more than the size it tells
    const { done, value } = await reader.read();
    if (done) return whole.subarray(0, at);
    if (at + value.length > size) { await reader.cancel(); throw new Error("more than told"); }
    whole.set(value, at);
    at += value.length;
  }
}

const ofFile = file => ({ size: file.size, bytes: async () => new Uint8Array(await file.arrayBuffer()) });

// What systems lay into folders by themselves.
function isLitter(name) {
  const last = name.split("/").pop();
  return TOLD.litter.includes(last) || last.startsWith("._") || name.startsWith("__MACOSX/");
}

function withoutTop(all) {
  const entries = new Map(Array.from(all).filter(([name]) => !isLitter(name)));
  const tops = new Set(Array.from(entries.keys(), name => name.split("/", 1)[0]));
  if (tops.size !== 1 || Array.from(entries.keys()).some(name => !name.includes("/"))) return entries;
  return new Map(Array.from(entries, ([name, entry]) => [name.slice(name.indexOf("/") + 1), entry]));
}

async function bytesOf(entries, name) {
  const entry = entries.get(name);
  if (!entry || entry.size >= TOLD.most.text) return new Uint8Array();
  try { return await entry.bytes(); } catch { return new Uint8Array(); }
}

function readManifest(content) {
  const listed = new Map();
  for (const line of content.split(/\r\n|\r|\n/)) {
    if (!line) continue;
    const found = /^([0-9A-Fa-f]+)[ \t]+\*?(.+)$/s.exec(line);
    if (!found) return null;
    const name = found[2].replace(/%0D/gi, "\r").replace(/%0A/gi, "\n").replace(/%25/g, "%");
    if (listed.has(name)) return null;
    listed.set(name, found[1].toLowerCase());
  }
  return listed;
}

function readInformation(content) {
  const values = {};
  for (const line of content.replace(/(\r\n|\r|\n)[ \t]+/g, " ").split(/\r\n|\r|\n/)) {
    const colon = line.indexOf(":");
    if (colon > 0) values[line.slice(0, colon).trim()] ??= line.slice(colon + 1).trim();
  }
  return values;
}

// Moments are ISO 8601 with offset; to the minute, in UTC.
const moment = value => (/(Z|[+-]\d\d:\d\d)$/.test(value ?? "") && !Number.isNaN(Date.parse(value)) ? new Date(value) : null);
const minute = when => `${when.toISOString().slice(0, 16).replace("T", " ")} UTC`;

async function readKey(entries) {
  const pem = decoded(await bytesOf(entries, PUBLIC_KEY)).replace(/-----[^-]*-----|\s/g, "");
  try {
    const der = Uint8Array.from(atob(pem), c => c.charCodeAt(0));
    const key = await crypto.subtle.importKey("spki", der, { name: "Ed25519" }, false, ["verify"]);
    return { key, fingerprint: grouped(hex(await crypto.subtle.digest("SHA-256", der))) };
  } catch { return null; }
}

async function knowsEd25519() {
  try {
    await crypto.subtle.generateKey({ name: "Ed25519" }, false, ["sign", "verify"]);
    return true;
  } catch { return false; }
}

async function check(entries, expected, digest, now) {
  if ([expected, digest].some(given => given && !/^[0-9a-f]{64}$/.test(given))) throw new Refused(text("not_whole"));
  if (entries.size > TOLD.most.files) throw new Refused(text("too_large"));
  if (Array.from(entries.values()).reduce((sum, e) => sum + e.size, 0) > TOLD.most.bytes) throw new Refused(text("too_large"));
  if (!entries.has(SIGNED_LIST) && !entries.has("bagit.txt")) throw new Refused(text("not_a_package"));
  const problems = [], lists = new Map();
  for (const name of Object.values(LISTS).flat()) {
    if (!entries.has(name)) { problems.push(answer("removed", name)); continue; }
    const listed = readManifest(decoded(await bytesOf(entries, name)));
    if (listed) lists.set(name, listed);
    else problems.push({ code: "unreadable", text: text("unreadable", { file: shown(name) }) });
  }
  const information = readInformation(decoded(await bytesOf(entries, "bag-info.txt")));
  const signer = await readKey(entries);
  if (!entries.has(SIGNATURE) || !entries.has(PUBLIC_KEY)) problems.push({ code: "unsigned", text: text("unsigned") });
  else {
    const holds = signer && await crypto.subtle.verify({ name: "Ed25519" }, signer.key, await bytesOf(entries, SIGNATURE), await bytesOf(entries, SIGNED_LIST));
    if (!holds) problems.push({ code: "signature", text: text("signature") });
  }
  if (signer) {
    if (expected && expected !== bare(signer.fingerprint)) problems.push({ code: "other-key", text: text("other_key") });
    const sheet = entries.has(HANDOUT) ? decoded(await entries.get(HANDOUT).bytes().catch(() => new Uint8Array())) : signer.fingerprint;
    if (bare(information["Key-Fingerprint"] ?? "") !== bare(signer.fingerprint) || !sheet.includes(signer.fingerprint)) {
      problems.push({ code: "other-key", text: text("key_in_sheet") });
    }
  }
  const evidence = await evidenceDigest(lists.get(LISTS["SHA-256"][0]) ?? new Map());
  if (digest && digest !== evidence) problems.push({ code: "other-sheet", text: text("other_sheet") });
  problems.push(...await contents(entries, lists));
  const signed = moment(information["Signed"]), latest = moment(information["Latest-Entry"]);
  if (!signed) problems.push({ code: "clock", text: text("no_time") });
  else if (signed.getTime() > now + CLOCKS_DIFFER_MS) problems.push({ code: "clock", text: text("clock_ahead", { signed: minute(signed) }) });
  else if (latest && latest > signed) problems.push({ code: "clock", text: text("clock_behind", { signed: minute(signed), latest: minute(latest) }) });
  if (!problems.length && !await isBag(entries, information)) problems.push({ code: "no-bag", text: text("no_bag") });
  return {
    problems,
    workshop: shown(information["Source-Organization"] ?? "").slice(1, -1),
    when: signed ? minute(signed) : "",
    fingerprint: signer ? signer.fingerprint : "",
    evidence: grouped(evidence),
    files: entries.size,
  };
}

// Declaration and count of the payload as RFC 8493 has them (2.1.1, 2.2.2), whoever signed them.
async function isBag(entries, information) {
  const declared = new TextDecoder("utf-8", { ignoreBOM: true }).decode(await bytesOf(entries, "bagit.txt"));
  const payload = Array.from(entries).filter(([name]) => name.startsWith("data/")).map(([, entry]) => entry.size);
  const counted = `${payload.reduce((sum, size) => sum + size, 0)}.${payload.length}`;
  return declared.trimEnd().replace(/\r\n?/g, "\n") === TOLD.declaration.trimEnd() && (information["Payload-Oxum"] ?? counted) === counted;
}

async function contents(entries, lists) {
  const problems = [], digests = new Map();
  // The signature vouches for the signed list alone: what another list of tags names besides is not vouched for.
  const signed = lists.get(SIGNED_LIST);
  for (const [algorithm, [payload, tags]] of Object.entries(LISTS)) {
    let listed = Array.from(lists.get(tags) ?? []);
    const alike = listed.filter(([file]) => signed?.has(file));
    if (signed && lists.has(tags) && (alike.length !== listed.length || alike.length !== signed.size)) {
      problems.push(answer("altered", tags));
      listed = alike;
    }
    for (const [file, digest] of [...(lists.get(payload) ?? []), ...listed]) {
      digests.set(file, { ...digests.get(file), [algorithm]: digest });
    }
  }
  for (const [name, listed] of Array.from(digests).sort((a, b) => byName(a[0], b[0]))) {
    if (!entries.has(name)) { problems.push(answer("removed", name)); continue; }
    document.getElementById("working").textContent = text("working", { file: shown(name) });
    let same = true;
    try {
      const bytes = await entries.get(name).bytes();
      for (const algorithm of Object.keys(listed)) {
        same &&= hex(await crypto.subtle.digest(algorithm, bytes)) === listed[algorithm];
      }
    } catch { same = false; }
    if (!same) problems.push(answer("altered", name));
  }
  for (const name of Array.from(entries.keys()).sort(byName)) {
    if (!digests.has(name) && !UNLISTED.has(name)) problems.push(answer("added", name));
  }
  return problems;
}

async function evidenceDigest(listed) {
  const names = Array.from(listed.keys()).filter(name => !name.startsWith("data/hand-out")).sort(byName);
  const encoded = name => name.replace(/%/g, "%25").replace(/\r/g, "%0D").replace(/\n/g, "%0A");
  const lines = names.map(name => `${listed.get(name)}  ${encoded(name)}\n`).join("");
  return hex(await crypto.subtle.digest("SHA-256", new TextEncoder().encode(lines)));
}

function element(tag, content = "", ...children) {
  const made = document.createElement(tag);
  made.textContent = content;
  made.append(...children);
  return made;
}

function show(title, good, ...children) {
  const section = document.getElementById("answer");
  section.className = good ? "good" : "bad";
  section.replaceChildren(element("h2", title), ...children);
  section.hidden = false;
  document.getElementById("working").textContent = "";
  section.focus();
}

let chosen = null, turn = 0;

async function tell(gathered) {
  chosen = gathered;
  const mine = ++turn;
  document.getElementById("answer").hidden = true;
  try {
    const entries = withoutTop(await gathered());
    const [expected, digest] = ["expected", "digest"].map(id => bare(document.getElementById(id).value));
    const found = await check(entries, expected, digest, Date.now());
    if (mine !== turn) return; // another was chosen meanwhile
    const next = [expected ? "same_key" : "compare_key", digest ? "same_digest" : "compare_digest", "limits"];
    const facts = ["workshop", "when", "fingerprint", "evidence", "files"].filter(name => found[name]);
    show(
      text(found.problems.length ? "bad" : "good"),
      !found.problems.length,
      element("ul", "", ...found.problems.map(problem => element("li", problem.text))),
      element("dl", "", ...facts.flatMap(name => [element("dt", text(name)), element("dd", found[name])])),
      ...(found.problems.length ? [] : next.map(name => element("p", text(name)))),
    );
  } catch (error) {
    if (mine === turn) show(error instanceof Refused ? error.message : text("damaged"), false);
  }
}

// A dropped folder. On a page that is a file itself, Chromium reads it by handles only; other browsers know entries only.
async function walkedHandle(handle, path, found) {
  if (handle.kind === "file") found.set(path + handle.name, ofFile(await handle.getFile()));
  else for await (const child of handle.values()) await walkedHandle(child, `${path}${handle.name}/`, found);
  return found;
}

async function walked(item, path, found) {
  if (item.isFile) found.set(path + item.name, ofFile(await new Promise((done, failed) => item.file(done, failed))));
  else {
    const reader = item.createReader();
    for (;;) { // a part of a folder at a time
      const part = await new Promise((done, failed) => reader.readEntries(done, failed));
      if (!part.length) break;
      for (const child of part) await walked(child, `${path}${item.name}/`, found);
    }
  }
  return found;
}

document.getElementById("zip").addEventListener("change", event => {
  const [file] = event.target.files;
  if (file) tell(() => readZip(file));
});
document.getElementById("folder").addEventListener("change", event => {
  const files = Array.from(event.target.files);
  if (files.length) tell(async () => new Map(files.map(file => [file.webkitRelativePath, ofFile(file)])));
});
for (const id of ["expected", "digest"]) { // typed after the package was chosen
  document.getElementById(id).addEventListener("change", () => { if (chosen) tell(chosen); });
}
for (const [name, over] of [["dragover", true], ["dragleave", false], ["drop", false]]) { // wherever it falls
  document.addEventListener(name, event => { event.preventDefault(); document.body.classList.toggle("over", over); });
}
document.addEventListener("drop", event => {
  const [item] = event.dataTransfer.items, [file] = event.dataTransfer.files;
  const entry = item?.webkitGetAsEntry();
  if (entry?.isDirectory) {
    const asked = item.getAsFileSystemHandle?.();
    tell(async () => (asked ? walkedHandle(await asked, "", new Map()) : walked(entry, "", new Map())));
  } else if (file) tell(() => readZip(file));
});
knowsEd25519().then(knows => {
  if (knows) return;
  for (const input of document.querySelectorAll("input")) input.disabled = true;
  show(text("no_ed25519"), false);
});
