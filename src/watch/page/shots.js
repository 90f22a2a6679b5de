// The list of shots, and the picture of each one that is open.
const roles = ["start", "run-down", "brake", "locked-rotor", "turn-off", "pwm", "pwm-locked", "steady", "driven"];
const readOnly = document.body.dataset.readOnly === "true";

/** An element with attributes and children; texts stay texts. */
function make(name, attributes = {}, ...children) {
  const element = document.createElement(name);
  for (const [key, value] of Object.entries(attributes)) {
    if (value === null || value === undefined || value === false) continue;
    if (key.startsWith("on")) element.addEventListener(key.slice(2), value);
    else if (key in element && typeof value !== "string") element[key] = value;
    else element.setAttribute(key, value === true ? "" : value);
  }
  element.append(...children.filter((child) => child !== null && child !== undefined && child !== false));
  return element;
}

const shotCards = new Map();
let openedByHand = false;

function gradeWord(grade) {
  return {
    good: "good", usable: "usable", retake: "retake", role: "another role?", unread: "not readable", missing: "missing",
    refused: "no capture", outside: "not in the sheet", arriving: "arriving", unused: "not used", waiting: "waiting",
  }[grade] ?? grade;
}

function showShots(state) {
  const list = document.getElementById("shot-list");
  const shots = state.shots ?? [];
  const names = new Set(shots.map((shot) => shot.name));
  for (const [name, card] of shotCards) {
    if (names.has(name)) continue;
    dropPicture(card);
    card.element.remove();
    shotCards.delete(name);
  }
  let newest = null;
  for (const shot of shots) {
    let card = shotCards.get(shot.name);
    if (!card) {
      card = newCard(shot);
      shotCards.set(shot.name, card);
      if (shot.index !== null) newest = card;
    }
    updateCard(card, shot, state);
  }
  // The order changes rarely; an element that stays in its place keeps the focus inside.
  shots.forEach((shot, k) => {
    const { element } = shotCards.get(shot.name);
    if (list.children[k] !== element) list.insertBefore(element, list.children[k] ?? null);
  });
  if (newest && !openedByHand) {
    for (const card of shotCards.values()) card.element.open = card === newest;
  }
  const empty = list.querySelector(".empty");
  if (shots.length === 0 && !empty) list.append(make("p", { class: "note empty" }, "No capture is in the folder yet. Every file that the oscilloscope saves there appears here within a second."));
  if (shots.length > 0) empty?.remove();
  const others = document.getElementById("others");
  others.hidden = (state.others ?? []).length === 0;
  others.querySelector("ul").replaceChildren(...(state.others ?? []).map(([file, why]) => make("li", {}, `${file}: ${why}`)));
}

let cardCount = 0;
function newCard(shot) {
  cardCount += 1;
  const id = `shot-${cardCount}`;
  const element = make("details", { class: "shot", id });
  const card = { id, element, name: shot.name, shown: "" };
  element.append(make("summary"), make("div", { class: "inside" }));
  element.addEventListener("toggle", () => {
    if (element.open) drawPicture(card);
    else dropPicture(card);
  });
  element.querySelector("summary").addEventListener("click", () => {
    openedByHand = true;
  });
  return card;
}

function updateCard(card, shot, state) {
  const capture = shot.index === null ? null : state.sheet?.captures?.[shot.index] ?? null;
  const text = JSON.stringify([shot, capture]);
  const pictureOf = JSON.stringify([shot.stamp, capture, state.pictures]);
  card.shot = shot;
  if (card.shown !== text) {
    card.shown = text;
    const { element } = card;
    element.className = `shot ${shot.verdict.grade}`;
    element.querySelector("summary").replaceChildren(
      make("span", { class: "name" }, shot.name),
      make("span", { class: "grade" }, gradeWord(shot.verdict.grade)),
      shot.role ? make("span", { class: "role" }, shot.role) : "",
      make("span", { class: "reason" }, shot.verdict.text),
    );
    const focused = document.activeElement?.dataset?.field;
    const inside = element.querySelector(".inside");
    const picture = inside.querySelector(".picture");
    inside.replaceChildren(...insideOf(shot, capture), picture ?? make("div", { class: "picture" }));
    if (focused && inside.querySelector(`[data-field="${CSS.escape(focused)}"]`)) inside.querySelector(`[data-field="${CSS.escape(focused)}"]`).focus();
  }
  if (card.pictureOf !== pictureOf) {
    card.pictureOf = pictureOf;
    if (card.element.open) drawPicture(card);
  }
}

/** What can be set of a shot. */
function insideOf(shot, capture) {
  const parts = [];
  if (shot.verdict.more?.length) parts.push(make("ul", {}, ...shot.verdict.more.map((text) => make("li", {}, text))));
  const rows = shot.rows ? `, ${shot.rows} samples, ${engineering(shot.to_s - shot.from_s, "s", 3)}` : "";
  parts.push(make("p", { class: "file" }, shot.files.join(", ") + rows));
  if (!capture) {
    if (shot.verdict.grade === "outside" && !readOnly) parts.push(make("button", { type: "button", onclick: () => post("enter", { files: shot.files }) }, "enter into the sheet"));
    if (shot.verdict.grade === "refused" && !readOnly) parts.push(make("button", { type: "button", onclick: () => post("enter", { files: shot.files }) }, "try again"));
    return parts;
  }
  const at = (...keys) => ["captures", shot.index, ...keys];
  const name = shot.name;
  const fields = make("div", { class: "fields" },
    choice("role", at("role"), capture.role, roles, `role of ${name}`),
    ...["voltage", "current"].flatMap((channel) => {
      const over = capture[channel] ?? {};
      const column = shot.channels?.[channel === "voltage" ? 0 : 1];
      return [
        number(`${channel} scale${column ? ` (${column})` : ""}`, at(channel, "scale"), over.scale, `${channel} scale of ${name}`),
        tick(`${channel} reversed`, at(channel, "reversed"), over.reversed, `${channel} polarity of ${name}`),
      ];
    }),
    number("probe ratio to apply", at("voltage", "apply_probe_ratio"), over(capture.voltage, "apply_probe_ratio"), `probe ratio of ${name}`),
    text("voltage column", at("voltage", "column"), over(capture.voltage, "column"), `voltage column of ${name}`),
    text("current column", at("current", "column"), over(capture.current, "column"), `current column of ${name}`),
    tick("not used", at("use"), capture.use === false ? true : undefined, `use of ${name}`, (on) => (on ? false : null), capture.use),
  );
  parts.push(fields);
  return parts;
}

function over(table, key) {
  return table?.[key];
}

function dropPicture(card) {
  const host = card.element.querySelector(".picture");
  for (const chart of charts.filter((c) => host.contains(c.host))) {
    chart.u.destroy();
    charts.splice(charts.indexOf(chart), 1);
  }
  host.replaceChildren();
  card.asked = null;
}

async function drawPicture(card) {
  if (card.shot.index === null) return;
  const asked = card.pictureOf;
  card.asked = asked;
  const answer = await fetch(`picture?name=${encodeURIComponent(card.name)}`);
  if (!answer.ok || card.asked !== asked || !card.element.open) return;
  const capture = await answer.json();
  if (card.asked !== asked) return;
  dropPicture(card);
  card.asked = asked;
  const host = card.element.querySelector(".picture");
  const chart = (part, words) => make("div", {}, make("div", { class: `chart ${part}`, id: `${card.id}-${part}`, tabindex: "0", role: "group", "aria-roledescription": "chart", "aria-label": `${words} of ${card.name}`, "aria-describedby": `${card.id}-text` }));
  const tools = make("div", { class: "tools", role: "group", "aria-label": `Time axis of ${card.name}` },
    ...[["in", "+", "zoom in"], ["out", "−", "zoom out"], ["left", "←", "earlier"], ["right", "→", "later"], ["all", "whole record", "whole record"]].map(([action, sign, words]) => make("button", { type: "button", "data-do": action, "aria-label": words }, sign)),
    make("output", { class: "range" }));
  host.append(make("p", { class: "unseen", id: `${card.id}-text` }, capture.description), tools);
  const marks = make("div", { class: "marks" });
  host.append(marks);
  if (capture.trace.voltage_v) host.append(chart("voltage", "Voltage"));
  if (capture.trace.current_a) host.append(chart("current", "Current"));
  const words = [...capture.instants.map((i) => i.words), ...capture.cuts.slice(0, 6).map((c) => `not used: ${c.words}`)];
  host.append(make("p", { class: "events" }, words.join(" · ")));
  const times = capture.trace.time_s.filter((t) => t != null);
  if (times.length < 2) return;
  const group = new SharedRange(card.id, [times[0], times[times.length - 1]], seconds);
  const first = channelChart(`${card.id}-voltage`, capture, "voltage", 150, group, capture.trace);
  const second = channelChart(`${card.id}-current`, capture, "current", 150, group, capture.trace);
  group.tools(tools);
  showMarks(marks, card, capture, first ?? second);
}
