// What the page does while it is open: it says how a line would be understood, keeps
// what is typed until it is written down, and brings in what others wrote.

const $ = (q, in_ = document) => in_.querySelector(q);
const $$ = (q, in_ = document) => [...in_.querySelectorAll(q)];
const stream = document.body.dataset.case || "";
const here = document.body.dataset.here || "";

function el(tag, text, attributes = {}) {
  const e = document.createElement(tag);
  if (text) e.textContent = text;
  for (const [k, v] of Object.entries(attributes)) e.setAttribute(k, v);
  return e;
}

// ---- How things stand.

let unreachable = false; // the page's own server does not answer
let news = { waiting: 0, files: 0, off: "" };
let waits = load("waits", []);

function load(name, otherwise) {
  try { return JSON.parse(localStorage.getItem("knowngood." + name)) ?? otherwise; } catch { return otherwise; }
}
// store is false where the browser has no room: then nothing may be cleared.
function store(name, value) {
  try { localStorage.setItem("knowngood." + name, JSON.stringify(value)); return true; } catch { return false; }
}

function showState() {
  const not = waits.filter((w) => w.why).length, n = waits.filter((w) => !w.why && !w.sending).length + news.waiting;
  const says = [];
  if (unreachable) says.push("The server does not answer. What you write down is kept here.");
  else if (news.off) says.push(news.off[0].toUpperCase() + news.off.slice(1) + ".");
  if (n > 0) says.push("Waiting to send: " + n + ".");
  if (news.files > 0) says.push("Files that wait to be sent: " + news.files + ".");
  if (not > 0) says.push("Not taken: " + not + (here === "case" ? "; look under Write down." : "; see below."));
  const state = $("#state");
  const text = says.join(" ");
  if (state && state.textContent !== text) state.textContent = text;
}

// ---- Writing down.

// A UUIDv7 (RFC 9562): the same entry sent twice is kept once.
function newID() {
  const b = crypto.getRandomValues(new Uint8Array(16));
  let ms = Date.now();
  for (let i = 5; i >= 0; i--) { b[i] = ms % 256; ms = Math.floor(ms / 256); }
  b[6] = 0x70 | (b[6] & 0x0f);
  b[8] = 0x80 | (b[8] & 0x3f);
  const h = [...b].map((x) => x.toString(16).padStart(2, "0")).join("");
  return [h.slice(0, 8), h.slice(8, 12), h.slice(12, 16), h.slice(16, 20), h.slice(20)].join("-");
}

class Away extends Error {}

// post answers {status, body}; Away where nobody answers, or not now.
async function post(path, fields) {
  let r;
  try {
    r = await fetch(path, { method: "POST", headers: { Accept: "application/json" }, body: new URLSearchParams(fields), redirect: "error" });
  } catch { throw new Away(); }
  if (r.status >= 500 || r.status === 429) throw new Away();
  let body = {};
  try { body = await r.json(); } catch { throw new Away(); }
  return { status: r.status, body };
}

const sayPath = (id) => "/case/" + encodeURIComponent(id) + "/say";
// Where what waits is said: an opening has no case yet.
const pathOf = (w) => w.to || sayPath(w.case);

// wrongText shows where a line was not understood.
function wrongText(no) {
  const out = document.createDocumentFragment();
  out.append(el("span", no.error || "It was not taken.", { class: "wrong" }));
  if (no.line && no.column) {
    const letters = [...no.line];
    const from = no.column - 1, to = from + Math.max(no.length || 0, 1);
    const p = el("p");
    p.append(letters.slice(0, from).join(""), el("mark", letters.slice(from, to).join("") || "\u2026"), letters.slice(to).join(""));
    out.append(p);
  }
  if (no.problems && no.problems.length) {
    const list = el("ul", "", { class: "problems" });
    for (const p of no.problems) {
      const li = el("li"), at = el("p", "", { class: "at" }), says = el("p", p.where + ": " + p.what + "; ");
      at.append(p.before, el("mark", p.meant), p.after);
      says.append(el("span", p.remedy, { class: "remedy" }));
      li.append(at, says);
      list.append(li);
    }
    out.append(list);
  }
  if (no.understood && no.understood.length) out.append(el("p", "Understood there: " + no.understood.slice(0, 4).join("; "), { class: "hint" }));
  return out;
}

// change changes what waits, as it is stored: another page of this browser may have too.
function change(f) {
  const next = f(load("waits", []));
  if (!store("waits", next)) return false;
  waits = next;
  showWaits(); showState();
  return true;
}
const without = (id) => (all) => all.filter((w) => w.id !== id);

// write sends what a form holds. A line is taken out of its field at once, so that the
// next one can be typed, and lies among what waits until it is answered; a form is
// emptied when its entry is kept. What is refused goes back to where it was typed, or,
// where something else is typed there by now, stands among what waits, with why.
const unsaid = ["form", "id", "case", "expect", "instead", "check-id"]; // what nobody typed
async function write(form, told, more = {}) {
  const line = form.elements.line;
  const fields = [...new FormData(form)].filter(([k, v]) => v !== "" || k === "line");
  const text = fields.filter(([k]) => !unsaid.includes(k)).map(([, v]) => v).join(", ");
  const entry = { id: more.id || form.elements.id?.value || newID(), case: stream, to: form.dataset.to, form: form.dataset.form, page: here === "case" ? "" : location.pathname + location.search, at: new Date().toISOString().slice(0, 19) + "Z", fields: [...fields, ...(more.yes ? [["yes", "1"]] : [])], text };
  const behind = waits.some((w) => w.case === stream && !w.why); // in order
  told.replaceChildren();
  if (line || behind) {
    if (!change((all) => [...all, { ...entry, sending: !behind }])) {
      told.append(el("span", "This browser has no room to keep what is typed: make room, or close other pages.", { class: "wrong" }));
      return;
    }
    emptied(form);
  }
  let r = null;
  try {
    if (!behind) r = await post(pathOf(entry), [...entry.fields.filter(([k]) => k !== "id"), ["id", entry.id], ["happened", entry.at]]);
  } catch (e) { if (!(e instanceof Away)) throw e; }
  if (!r) {
    const kept = line || behind ? change((all) => all.map((w) => ({ ...w, sending: w.sending && w.id !== entry.id }))) : change((all) => [...all, entry]);
    if (!kept) {
      told.append(el("span", "Nobody answers, and this browser has no room to keep it: leave it in the field and try again.", { class: "wrong" }));
      return;
    }
    if (!line && !behind) emptied(form);
    told.append(el("span", "Kept here; it goes when the server answers.", { class: "hint keeping" }));
    drain();
    return;
  }
  if (r.status === 200) {
    if (line) change(without(entry.id)); else emptied(form);
    if (here !== "case") { location.href = "/case/" + encodeURIComponent(r.body.case) + (r.body.seq ? "#e" + r.body.seq : ""); return; }
    if (!line || !line.value) told.replaceChildren(el("span", (r.body.waiting ? "Saved, waits to be sent: " : (r.body.seq ? "Written down as #" + r.body.seq + ": " : "Written down: ")) + r.body.text));
    if (form.closest("details")) { for (const d of $$("details", form)) d.open = false; form.closest("details").open = false; $("#heard").replaceChildren(...told.childNodes); }
    catchUp();
    drain();
    return;
  }
  const why = r.body.error || (r.body.questions || ["it was not taken"]).join(" ");
  if (line && line.value) {
    change((all) => all.map((w) => (w.id === entry.id ? { ...w, sending: false, why } : w)));
    drain();
    return;
  }
  if (line) {
    line.value = Object.fromEntries(fields).line;
    store(draftOf(line), line.value);
    change(without(entry.id));
  }
  if (r.status === 409) {
    told.append(el("span", why, { class: "wrong" }));
    const p = el("p", "", { class: "act" }), yes = el("button", "It is right: write it down", { type: "button" });
    yes.addEventListener("click", () => write(form, told, { id: entry.id, yes: true }));
    p.append(yes);
    told.append(p);
  } else if (!marked(form, r.body)) told.append(wrongText(r.body));
  drain();
}

// marked tells at the field what is wrong with it, and leads there.
function marked(form, no) {
  for (const f of $$("[aria-invalid]", form)) { f.removeAttribute("aria-invalid"); f.removeAttribute("aria-describedby"); }
  for (const p of $$(".atfield", form)) p.remove();
  const f = no.field && form.elements[no.field];
  if (!f || !f.closest) return false;
  const says = el("p", no.error, { class: "wrong atfield", id: "wrong-field" });
  (f.closest("label") || f).after(says);
  f.setAttribute("aria-describedby", says.id);
  for (let d = f.closest("details"); d && form.contains(d); d = d.parentElement.closest("details")) d.open = true;
  f.setAttribute("aria-invalid", "true");
  f.focus();
  return true;
}

function emptied(form) {
  form.reset();
  marked(form, {});
  for (const f of $$("input:not([type=hidden]), textarea", form)) { if (f.type !== "checkbox") f.value = ""; }
  for (const f of $$("input, select, textarea", form)) forget(f);
  for (const name of ["case", "id", "check-id"]) if (form.elements[name]) form.elements[name].value = newID(); // the next one is another
  form.dispatchEvent(new Event("emptied"));
}

// What is typed and not written down yet survives a reload.
const draftOf = (f) => draftAt(f.form.dataset.form || "line", f.name);
const draftAt = (form, name) => "draft." + stream + "." + form + "." + name;
function forget(f) { try { localStorage.removeItem("knowngood." + draftOf(f)); } catch { /* nothing was kept */ } }
function keepDrafts(form) {
  for (const f of $$("input:not([type=hidden]):not([type=file]), select, textarea", form)) {
    const draft = load(draftOf(f), null);
    if (draft !== null && f.type !== "checkbox" && !(f.value && f.tagName === "INPUT")) f.value = draft;
    f.addEventListener("input", () => { if (f.type !== "checkbox") store(draftOf(f), f.value); });
  }
}

// What waits in this page is sent in order, one at a time.
let draining = false;
async function drain() {
  if (draining) return;
  draining = true;
  try {
    for (;;) {
      const next = waits.find((w) => !w.why);
      if (!next || next.sending) return; // whoever sends that one goes on with those behind it
      const r = await post(pathOf(next), [...next.fields.filter(([k]) => k !== "id"), ["id", next.id], ["happened", next.at]]);
      unreachable = false;
      for (const e of $$(".keeping")) e.remove();
      if (r.status === 200) change(without(next.id));
      else change((all) => all.map((w) => (w.id === next.id ? { ...w, why: r.body.error || (r.body.questions || ["it was not taken"]).join(" "), line: r.body.line } : w)));
      if (r.status === 200 && !stream && !$("main form")) boardSoon();
      if (r.status === 200 && next.to && here === "open") { location.href = "/case/" + encodeURIComponent(r.body.case); return; }
      catchUp();
    }
  } catch (e) {
    if (!(e instanceof Away)) throw e;
  } finally { draining = false; }
}

function showWaits() {
  const list = $("#waits");
  if (!list) return;
  list.replaceChildren(...waits.filter((w) => w.case === stream && !w.sending).map((w) => {
    const li = el("li");
    li.append(el("p", w.text), el("p", w.why ? "Not taken: " + w.why : "Waiting to send", { class: w.why ? "wrong" : "hint" }));
    if (w.why) {
      const acts = el("p", "", { class: "acts" });
      const again = el("button", "Change it", { type: "button" }), yes = el("button", "Send it as it is", { type: "button" });
      again.addEventListener("click", () => {
        if (w.page) { // its form stands on a page of its own
          const f = location.pathname + location.search === w.page && $$("form[data-form]").find((f) => f.dataset.form === w.form);
          if (f && $$("input:not([type=hidden]):not([type=checkbox]), textarea", f).some((x) => x.value)) { f.scrollIntoView(); return; } // what is being typed is not thrown away
          for (const [k, v] of w.fields) if (!unsaid.includes(k) && k !== "yes") store(draftAt(w.form, k), v);
          change(without(w.id));
          location.href = w.page;
          return;
        }
        const line = $("#line");
        if (line.value) { line.focus(); return; } // what is being typed is not thrown away
        line.value = w.line || w.text;
        store(draftOf(line), line.value);
        change(without(w.id));
        line.focus();
      });
      yes.addEventListener("click", () => {
        change((all) => all.map((x) => (x.id === w.id ? { ...x, why: undefined, fields: [...x.fields, ["yes", "1"]] } : x)));
        drain();
      });
      acts.append(again, yes);
      li.append(acts);
    }
    return li;
  }));
}

// ---- How a line would be understood, while it is typed.

function listen(form, told) {
  let later, asked = 0;
  const box = $("[data-picture]", form);
  const ask = async () => {
    const line = form.elements.line || form.elements[form.dataset.live];
    if (line && !line.value.trim()) { told.replaceChildren(); if (box) box.replaceChildren(); return; }
    if (!line && $$("input[required], select[required]", form).some((f) => !f.value.trim())) { told.replaceChildren(); return; }
    const now = ++asked;
    try {
      const r = await post("/case/" + encodeURIComponent(stream) + "/hear", [...new FormData(form)]);
      if (now !== asked) return;
      if (r.status === 200) {
        told.replaceChildren(el("span", "Understood: " + r.body.understood));
        if (box) box.innerHTML = r.body.picture;
        for (const n of r.body.new || []) told.append(el("p", n, { class: "hint" }));
      } else told.replaceChildren(wrongText(r.body));
      if (box) $(".stale", form).hidden = r.status === 200 || !box.children.length;
    } catch (e) { if (!(e instanceof Away)) throw e; }
  };
  if (form.dataset.live && form.elements[form.dataset.live].value) later = setTimeout(ask, 0);
  if (!form.dataset.to) form.addEventListener("input", () => { clearTimeout(later); later = setTimeout(ask, 250); });
  form.addEventListener("emptied", () => { clearTimeout(later); asked++; });
  form.addEventListener("submit", (e) => {
    e.preventDefault();
    clearTimeout(later); asked++;
    const button = $("button:not([type=button])", form);
    if (form.elements.line) { if (form.elements.line.value.trim()) write(form, told); return; }
    if (button.disabled) return;
    button.disabled = true;
    write(form, told).finally(() => { button.disabled = false; });
  });
}

// sends sends a file that is chosen in a form. Where nobody answers it stays chosen.
function sends(form) {
  const told = $(".told", form), button = $("button", form);
  form.addEventListener("submit", async (e) => {
    e.preventDefault();
    if (button.disabled) return;
    button.disabled = true;
    const fields = new FormData(form);
    if (!form.dataset.id) form.dataset.id = newID();
    fields.append("id", form.dataset.id);
    told.replaceChildren(el("span", "Sending\u2026"));
    try {
      const r = await fetch(form.action, { method: "POST", headers: { Accept: "application/json" }, body: fields, redirect: "error" });
      const body = await r.json();
      if (r.status === 200) {
        form.reset();
        marked(form, {});
        delete form.dataset.id;
        told.replaceChildren();
        for (const d of $$("details", form)) d.open = false;
        form.closest("details").open = false;
        $("#heard").replaceChildren(el("span", (body.waiting ? "Saved, waits to be sent: " : "Written down as #" + body.seq + ": ") + body.text));
        catchUp();
      } else {
        told.replaceChildren();
        if (!marked(form, body)) told.append(wrongText({ error: body.error || (body.questions || []).join(" ") }));
      }
    } catch {
      told.replaceChildren(el("span", "Nobody answers. The file is still chosen here: try again once the server answers.", { class: "wrong" }));
    } finally { button.disabled = false; }
  });
}

// ---- What others write.

// Whatever goes wrong on the way is tried again a little later.
let catching = false, again = false, catchLater;
async function catchUp() {
  if (!stream || here !== "case") return;
  if (catching) { again = true; return; }
  catching = true;
  clearTimeout(catchLater);
  let retry = true;
  try {
    do {
      again = false;
      const rows = $("#rows");
      const path = "/case/" + encodeURIComponent(stream) + "/rows?after=" + (rows.dataset.query ? rows.dataset.head : firstWaiting(rows));
      const r = await fetch(path, { signal: AbortSignal.timeout(20000) });
      if (!r.ok) { retry = r.status >= 500 || r.status === 429; return; }
      const box = el("ol");
      box.innerHTML = await r.text();
      const fresh = $$(":scope > li[id]", box);
      if (!rows.dataset.query) { // what waited and was refused is no entry any more
        const gone = waitingRows(rows).filter((li) => !fresh.some((f) => f.id === li.id));
        for (const li of gone) li.remove();
        if (gone.length) { rows.dataset.head = ($(":scope > li[id]", rows)?.id || "e0").slice(1); standsSoon(); }
      }
      if (!fresh.length) continue;
      rows.dataset.head = fresh[0].id.slice(1);
      if (!rows.dataset.query) steady(() => {
        let above = $(":scope > li[id]", rows);
        for (const li of fresh) {
          const was = document.getElementById(li.id);
          if (!was) { li.classList.add("came"); rows.insertBefore(li, above); continue; }
          if (was.innerHTML !== li.innerHTML) {
            if (was.classList.contains("came")) li.classList.add("came");
            was.replaceWith(li);
          }
          above = $(":scope > li[id]", rows);
        }
      });
      standsSoon();
    } while (again);
    retry = false;
  } catch { /* nobody answers */ } finally {
    catching = false;
    if (retry) catchLater = setTimeout(catchUp, 2000);
  }
}

// steady makes a change of the page, and what somebody reads stays where it is, whatever
// grows above it.
function steady(change) {
  const seen = window.scrollY > 0 && $$("#stands [id], #write, #timeline, #rows > li[id]").find((e) => e.getBoundingClientRect().top >= 0);
  const before = seen && seen.getBoundingClientRect().top;
  change();
  const now = seen && document.getElementById(seen.id);
  if (now) window.scrollBy(0, now.getBoundingClientRect().top - before);
}

// Rows that waited have a number of the server's by now, and files that did are there:
// they are asked for again.
const waitingRows = (rows) => $$(":scope > li[id]", rows).filter((li) => $$(".tag", li).some((t) => t.textContent === "waiting to send"));
function firstWaiting(rows) {
  const unsent = $$(":scope > li[id]", rows).filter((li) => $("[data-unsent]", li));
  const first = Math.min(Number(rows.dataset.head) + 1, ...[...waitingRows(rows), ...unsent].map((li) => Number(li.id.slice(1))));
  return first - 1;
}

// A photograph may come later than the entry that names it: it is asked for again, less
// and less often.
function awaited(photo) {
  const tried = Number(photo.dataset.tried || 0);
  photo.dataset.tried = tried + 1;
  if (tried < 30) setTimeout(() => { photo.src = photo.getAttribute("src"); }, 1000 * (tried + 1));
}
document.addEventListener("error", (e) => { if (e.target.matches?.(".photo img")) awaited(e.target); }, true);
for (const photo of $$(".photo img")) if (photo.complete && !photo.naturalWidth) awaited(photo);

let standsLater;
function standsSoon() { clearTimeout(standsLater); standsLater = setTimeout(stands, 200); }
async function stands() {
  const box = $("#stands");
  if (!box) return;
  if (box.contains(document.activeElement)) { standsLater = setTimeout(stands, 2000); return; } // somebody is in it
  const r = await fetch("/case/" + encodeURIComponent(stream) + "/stands");
  if (!r.ok) return;
  const open = new Set($$("details[open] > summary", box).map((s) => s.textContent));
  const text = await r.text();
  steady(() => {
    box.innerHTML = text;
    for (const d of $$("details", box)) if (open.has($("summary", d).textContent)) d.open = true;
  });
}

function connect() {
  const live = new EventSource("/live");
  live.addEventListener("open", () => { unreachable = false; showState(); drain(); catchUp(); });
  live.addEventListener("state", (e) => {
    const was = news;
    news = JSON.parse(e.data);
    showState();
    if (news.waiting !== was.waiting || news.files !== was.files) catchUp();
  });
  live.addEventListener("entry", (e) => {
    if (JSON.parse(e.data).case === stream) catchUp();
    else if (!stream && !$("main form")) boardSoon();
  });
  live.addEventListener("error", () => {
    unreachable = true;
    showState();
    if (live.readyState === EventSource.CLOSED) setTimeout(connect, 3000);
  });
}

let boardLater;
function boardSoon() {
  clearTimeout(boardLater);
  boardLater = setTimeout(async () => {
    const r = await fetch(location.href, { headers: { Accept: "text/html" } });
    if (!r.ok) return;
    const fresh = new DOMParser().parseFromString(await r.text(), "text/html");
    if (!$("main").contains(document.activeElement) || document.activeElement === $("main")) $("main").replaceChildren(...$("main", fresh).childNodes);
  }, 500);
}

// ---- Replay.

function replay() {
  const slide = $("#slide");
  if (!slide) return;
  const at = $("#at"), box = $("#moment"), chart = $(".chart > svg"), line = $("#here");
  const mark = () => {
    if (!line) return;
    const x = Math.max(0, Number(at.value) - Number(chart.dataset.from) + 1) * (600 / Number(chart.dataset.width));
    line.setAttribute("x1", x); line.setAttribute("x2", x);
  };
  let later, asked = 0;
  const go = (n) => {
    at.value = n;
    $("#atn").textContent = at.value;
    mark();
    clearTimeout(later);
    later = setTimeout(async () => {
      const now = ++asked;
      const r = await fetch("?part=1&at=" + at.value);
      if (!r.ok || now !== asked) return;
      box.innerHTML = await r.text();
      history.replaceState(null, "", "?at=" + at.value);
      steps();
    }, 120);
  };
  const steps = () => {
    for (const [rel, text, d] of [["prev", "One back", -1], ["next", "One forward", 1]]) {
      const n = Number(at.value) + d, old = $(".steps").children[d < 0 ? 0 : 1];
      const fits = n >= 1 && n <= Number(at.max);
      if (old.dataset.n === String(n)) continue;
      const e = fits ? el("a", text, { class: "button", rel, href: "?at=" + n }) : el("span", text, { class: "button off" });
      e.dataset.n = n;
      const focused = old === document.activeElement;
      old.replaceWith(e);
      if (focused) e.focus();
    }
  };
  $(".go", slide).hidden = true;
  at.addEventListener("input", () => go(at.value));
  slide.addEventListener("submit", (e) => e.preventDefault());
  document.addEventListener("click", (e) => {
    const a = e.target.closest(".steps a, .fits a");
    if (!a) return;
    e.preventDefault();
    go(new URL(a.href).searchParams.get("at"));
  });
  mark();
}

// ---- Wiring it up.

function openForm(kind) {
  const d = $("#f-" + kind);
  if (d) { d.open = true; }
  return d;
}

document.addEventListener("click", async (e) => {
  const start = here === "case" && e.target.closest('a[href*="?"]');
  const leads = start && new URL(start.getAttribute("href"), location.href).searchParams;
  if (leads && leads.get("red")) {
    e.preventDefault();
    const d = openForm("reading"), f = $("form", d);
    f.elements.red.value = leads.get("red");
    if (leads.get("black")) f.elements.black.value = leads.get("black");
    d.scrollIntoView({ behavior: "instant" });
    f.elements.value.focus({ preventScroll: true });
    return;
  }
  const ref = e.target.closest("a[data-seq]");
  const row = ref && document.getElementById("e" + ref.dataset.seq);
  if (row) { e.preventDefault(); location.hash = row.id; return; }
  const older = e.target.closest("a[data-before]");
  if (older) {
    e.preventDefault();
    const r = await fetch("/case/" + encodeURIComponent(stream) + "/rows?before=" + older.dataset.before);
    if (!r.ok) return;
    const box = el("ol");
    box.innerHTML = await r.text();
    const first = $("li[id]", box);
    older.closest("li").replaceWith(...box.children);
    if (first) { first.tabIndex = -1; first.focus({ preventScroll: true }); }
  }
});

for (const form of $$("form[data-form]")) { keepDrafts(form); listen(form, $(".told", form)); }
for (const form of $$("form[data-attach]")) sends(form);
for (const e of $$("[data-noscript]")) e.hidden = true;
for (const keys of $$(".keys")) {
  keys.hidden = false;
  keys.addEventListener("click", (e) => {
    const key = e.target.closest("[data-insert]"), field = $("textarea", keys.closest("form"));
    if (!key) return;
    field.setRangeText(key.dataset.insert, field.selectionStart, field.selectionEnd, "end");
    field.focus();
    field.dispatchEvent(new Event("input", { bubbles: true }));
  });
}
if (here === "case") {
  keepDrafts($("#quick"));
  listen($("#quick"), $("#heard"));
  const asked = new URLSearchParams(location.search);
  if (asked.get("red")) { const d = openForm("reading"); d.scrollIntoView({ behavior: "instant" }); $("[name=value]", d).focus({ preventScroll: true }); }
}
for (const b of $$("[data-print]")) { b.hidden = false; b.addEventListener("click", () => window.print()); }
replay();
// What was being sent when a page was closed is sent again: its id keeps it single.
change((all) => all.map((w) => ({ ...w, sending: false })));
showWaits();
showState();
if ($("#state")) connect();
window.addEventListener("storage", (e) => { if (e.key === "knowngood.waits") { waits = load("waits", []); showWaits(); showState(); } });
window.addEventListener("online", drain);
