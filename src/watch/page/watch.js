// Asks for what is new, shows it, and sends changes.
let current = { version: 0 };
const history = new Map();
let lastAnswer = null;

function say(text) {
  const message = document.getElementById("message");
  message.textContent = text;
  message.hidden = !text;
}

async function post(path, body) {
  try {
    const answer = await fetch(path, { method: "POST", headers: { "Content-Type": "application/json" }, body: JSON.stringify(body ?? {}) });
    const found = await answer.json().catch(() => ({}));
    if (!answer.ok) {
      say(found.error ?? `refused (${answer.status})`);
      return null;
    }
    say("");
    return found;
  } catch {
    say("the program does not answer; is it still running?");
    return null;
  }
}

/** Makes one step of changes; true when they were written. */
async function change(what, edits) {
  return (await post("edit", { what, edits })) !== null;
}

function showAnswers(state) {
  const { answer, fault } = state.answers ?? {};
  if (answer) lastAnswer = answer;
  const verdict = document.getElementById("verdict");
  verdict.hidden = !answer && !fault;
  verdict.className = `verdict ${answer?.verdict.stands ? "stands" : "doubtful"}`;
  verdict.replaceChildren();
  if (answer) verdict.append(make("strong", {}, answer.verdict.head), " " + answer.verdict.text);
  else if (fault) verdict.append(make("strong", {}, "No fit."), " " + fault);
  if (fault && /\[(instruments|channels)/.test(fault)) document.getElementById("hardware").open = true;
  const shown = answer ?? lastAnswer;
  const stale = !answer && lastAnswer !== null;
  rebuild("parameters", [shown?.parameters, stale, unitSwitch.system], () => (shown ? [stale ? make("p", { class: "note" }, "The values below are those of before.") : "", ...shown.parameters.filter((p) => !p.terminal).map((p) => parameter(p, stale)), make("details", {}, make("summary", {}, "What the terminals show by themselves"), ...shown.parameters.filter((p) => p.terminal).map((p) => parameter(p, stale)))] : [make("p", { class: "note" }, "No parameters yet.")]));
  rebuild("evidence", answer?.evidence, () => (answer?.evidence.length ? [make("table", { class: "plain" }, make("caption", {}, "Readings and other evidence against the model"), make("thead", {}, make("tr", {}, ...["evidence", "stated", "model", ""].map((h) => make("th", { scope: "col" }, h)))), make("tbody", {}, ...answer.evidence.map((row) => make("tr", {}, ...row.map((cell) => make("td", {}, cell))))))] : []));
  rebuild("warnings", answer?.warnings, () => (answer?.warnings.length ? [make("h3", {}, "Warnings"), make("dl", { class: "doubts" }, ...answer.warnings.flatMap((group) => [make("dt", {}, group.about), ...group.texts.map((t) => make("dd", {}, t))]))] : []));
}

/** One parameter with the course of its interval since the page was opened. */
function parameter(p, stale) {
  const written = unitSwitch.system === "si" ? p.si : p.trade;
  const letter = make("i", {}, p.symbol[0]);
  const head = make("span", { class: "name" }, `${p.words} `, letter, p.symbol[1] ? make("sub", {}, p.symbol[1]) : "");
  const value = make("div", { class: "values", "data-key": p.key }, head, make("br"), written ? make("strong", {}, written.value) : make("em", {}, "not determined by these captures"), written ? make("div", { class: "interval" }, written.interval + (p.relative ? ` ${p.relative}` : "")) : "", p.status === "measured" ? "" : make("span", { class: "badge" }, p.status), !written && p.suggestion ? make("div", { class: "interval" }, `it would be determined by: ${p.suggestion}`) : "");
  return make("div", { class: `parameter ${stale ? "stale" : ""}` }, value, courseOf(p));
}

/** Half widths in percent since the page was opened: a band that shrinks. */
function courseOf(p) {
  const NS = "http://www.w3.org/2000/svg";
  const points = history.get(p.key) ?? [];
  const svg = document.createElementNS(NS, "svg");
  const text = points.map((w) => `± ${plain(w, 2)} %`).join(", ");
  svg.setAttribute("class", "history");
  svg.setAttribute("viewBox", "0 0 96 34");
  svg.setAttribute("role", "img");
  svg.setAttribute("aria-label", points.length ? `${p.words} since the page was opened: ${text}` : `${p.words}: no interval yet`);
  if (points.length === 0) return svg;
  const most = Math.max(...points);
  const x = (k) => (points.length === 1 ? 48 : (k * 96) / (points.length - 1));
  const y = (w, sign) => 17 - (sign * 15 * w) / most;
  const edge = (sign) => (points.length === 1 ? [`0,${y(points[0], sign)}`, `96,${y(points[0], sign)}`] : points.map((w, k) => `${x(k)},${y(w, sign)}`));
  const band = document.createElementNS(NS, "polygon");
  band.setAttribute("class", "band");
  band.setAttribute("points", [...edge(1), ...edge(-1).reverse()].join(" "));
  const middle = document.createElementNS(NS, "line");
  for (const [key, v] of [["x1", 0], ["x2", 96], ["y1", 17], ["y2", 17], ["class", "middle"]]) middle.setAttribute(key, v);
  svg.append(band, middle);
  return svg;
}

let remembered = "";
function remember(answer) {
  const text = JSON.stringify(answer?.parameters ?? null);
  if (!answer || text === remembered) return;
  remembered = text;
  for (const p of answer.parameters) {
    const width = p.relative ? Number.parseFloat(p.relative.replace("±", "")) : null;
    if (width === null || !Number.isFinite(width)) continue;
    const points = history.get(p.key) ?? [];
    points.push(width);
    if (points.length > 200) points.shift();
    history.set(p.key, points);
  }
}

function showNext(state) {
  const next = state.next ?? null;
  rebuild("steps", next, () => {
    if (!next) return [make("p", { class: "note" }, "Once the captures can be fitted, the shot that narrows the intervals most appears here.")];
    return [
      ...(next.facts?.length ? [make("p", {}, next.facts.join(" · "))] : []),
      ...(next.missing ?? []).map((t) => make("p", { class: "note" }, t)),
      ...(next.cautions ?? []).map((t) => make("p", { class: "caution" }, t)),
      ...(next.steps ?? []).map((step, k) => make("details", { class: "step", open: k === 0 }, make("summary", {}, make("strong", {}, step.title), step.gain ? ` ${step.gain.replace(/(?<!,) /g, "\u00a0")}` : ""), ...step.cautions.map((t) => make("p", { class: "caution" }, t)), make("dl", {}, ...step.lines.flatMap(([name, words]) => [make("dt", {}, name), make("dd", {}, words)])), step.drawing ? make("img", { src: `wiring/${step.drawing}.svg`, alt: `Wiring: ${step.title}`, width: "700", height: "330", loading: "lazy" }) : "")),
      ...(next.kind === "ranking" && next.steps.length === 0 ? [make("p", {}, "Nothing on the list narrows the intervals by 2 % or more.")] : []),
    ];
  });
  const asks = next?.kind === "first" || next?.kind === "ask" || (!next && (state.shots ?? []).length === 0);
  rebuild("first-form", asks, () => (asks ? [firstForm()] : []));
}

function firstForm() {
  const fields = [["supply", "supply, e.g. 24V"], ["resistance", "ohmmeter, e.g. 3.2ohm"], ["diameter", "diameter, e.g. 36mm"], ["length", "length, e.g. 57mm"], ["mass", "mass, e.g. 220g"]].map(([key, label]) => [key, label, make("input", { type: "text", autocomplete: "off", "data-first": key })]);
  const tachometer = make("input", { type: "checkbox" });
  const ask = async () => {
    const body = Object.fromEntries(fields.map(([key, , input]) => [key, input.value]));
    const plan = await post("first", { ...body, tachometer: tachometer.checked });
    if (plan) {
      current.next = plan;
      showNext(current);
    }
  };
  return make("form", { onsubmit: (event) => { event.preventDefault(); ask(); } }, make("p", { class: "note" }, "Before the first shot: what is known of the motor."), make("div", { class: "fields" }, ...fields.map(([, label, input]) => make("label", {}, label, input)), make("label", { class: "tick" }, tachometer, " tachometer"), make("button", { type: "submit" }, "first shots")));
}

function showActions(state) {
  const ready = Boolean(state.answers?.answer) && !readOnly;
  rebuild("actions", [ready, state.datasheets], () => {
    const button = (label, body) => make("button", { type: "button", disabled: !ready, onclick: (event) => act(event.target, body) }, label);
    const formats = make("select", { "aria-label": "format of the export" }, ...["spice", "fmu", "modelica", "c", "python", "octave", "state-space", "table", "csv"].map((f) => make("option", { value: f }, f)));
    const sheets = make("select", { "aria-label": "datasheet" });
    // A datasheet is no capture, so the folder's state does not name it: look when the page is looked at again.
    const list = () => fetch("datasheets").then((r) => r.json()).then((names) => {
      sheets.replaceChildren(...names.map((n) => make("option", { value: n }, n)));
      sheets.parentElement.hidden = names.length === 0;
    }).catch(() => {});
    list();
    window.onfocus = list;
    return [
      make("div", { class: "tools" }, button("motor file", { what: "motor-file" }), button("report", { what: "report" }), button("pictures", { what: "pictures" }), button("drive brief", { what: "drive" })),
      make("div", { class: "tools" }, formats, make("button", { type: "button", disabled: !ready, onclick: (event) => act(event.target, { what: "export", to: formats.value }) }, "export")),
      make("div", { class: "tools", hidden: true }, sheets, make("button", { type: "button", disabled: !ready, onclick: (event) => act(event.target, { what: "datasheet", file: sheets.value }) }, "check datasheet")),
    ];
  });
}

async function act(button, body) {
  const outcome = document.getElementById("outcome");
  outcome.replaceChildren("working …");
  button.disabled = true;
  const found = await post("do", body);
  button.disabled = false;
  outcome.replaceChildren();
  if (found) outcome.append(make("p", {}, `written: ${found.written.length > 6 ? `${found.written.slice(0, 6).join(", ")} and ${found.written.length - 6} more` : found.written.join(", ")}`), found.text ? make("pre", {}, found.text) : "");
}

function show(state) {
  document.getElementById("motor").textContent = state.sheet?.motor?.name || "Bench";
  document.title = `${state.sheet?.motor?.name || "Bench"}: rundown`;
  document.getElementById("folder").textContent = `${state.folder ?? ""}${state.read_only ? " (read-only: nothing is written)" : ""}`;
  const took = state.answers?.took_ms;
  document.getElementById("status").textContent = state.busy ? `${state.busy} …` : state.answers?.answer ? `fitted in ${took} ms` : "";
  if (state.fault) say(state.fault);
  for (const id of ["undo", "redo"]) {
    const button = document.getElementById(id);
    button.disabled = readOnly || !state[id];
    button.textContent = state[id] ? `${id}: ${state[id]}` : id;
  }
  remember(state.answers?.answer);
  showShots(state);
  showAnswers(state);
  showForms(state);
  showNext(state);
  showActions(state);
  document.body.dataset.version = state.version;
  document.body.dataset.busy = state.busy ?? "";
}

async function follow() {
  for (;;) {
    try {
      const answer = await fetch(`state?after=${current.version}`);
      if (!answer.ok) throw new Error();
      const state = await answer.json();
      if (state.version !== current.version) {
        current = state;
        show(state);
      }
      document.documentElement.classList.remove("lost");
      if (document.body.dataset.lost) {
        delete document.body.dataset.lost;
        say("");
      }
    } catch {
      document.body.dataset.lost = "true";
      say("the program does not answer; it has ended, or was started anew with another address");
      await new Promise((done) => setTimeout(done, 1000));
    }
  }
}

for (const id of ["undo", "redo"]) document.getElementById(id).addEventListener("click", () => post(id));
addEventListener("keydown", (event) => {
  if (!(event.ctrlKey || event.metaKey) || event.key.toLowerCase() !== "z" || /^(INPUT|SELECT|TEXTAREA)$/.test(document.activeElement?.tagName ?? "")) return;
  event.preventDefault();
  post(event.shiftKey ? "redo" : "undo");
});
for (const radio of document.querySelectorAll("#units input")) {
  radio.addEventListener("change", () => {
    unitSwitch.system = radio.value;
    showAnswers(current);
  });
}
let pending = 0;
addEventListener("resize", () => {
  cancelAnimationFrame(pending);
  pending = requestAnimationFrame(() => resizeAll());
});
matchMedia("(prefers-color-scheme: dark)").addEventListener("change", redrawAll);
follow();
