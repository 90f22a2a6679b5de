// Marks of events and cuts over a picture: dragged with the pointer, moved with the arrow keys, set in the sheet.
const movable = ["switch-on", "switch-off", "arc", "short", "standstill"];

function showMarks(host, card, capture, chart) {
  if (!chart) return;
  const sheet = () => current.sheet?.captures?.[card.shot.index] ?? {};
  const at = (...keys) => ["captures", card.shot.index, ...keys];
  const marks = [];
  const seen = new Set();
  for (const instant of capture.instants) {
    if (!movable.includes(instant.name) || seen.has(instant.name)) continue;
    seen.add(instant.name);
    const set = sheet().events_s?.[instant.name];
    marks.push(mark(instant.name, instant.time_s, set !== undefined, (time) => change(`${instant.name} of ${card.name}`, [{ at: at("events_s", instant.name), was: set ?? null, value: time }])));
  }
  const cuts = sheet().cuts_s ?? [];
  cuts.forEach((cut, k) => {
    for (const end of [0, 1]) {
      marks.push(mark(end === 0 ? "cut ▸" : "◂ cut", cut[end], true, (time) => {
        const moved = cuts.map((c) => [...c]);
        moved[k][end] = time;
        if (moved[k][0] < moved[k][1]) change(`cut of ${card.name}`, [{ at: at("cuts_s"), was: cuts, value: moved }]);
        else place();
      }));
    }
  });
  host.append(...marks.map((m) => m.button));
  if (!readOnly) host.parentElement.insertBefore(markTools(card, capture, chart, sheet, at, cuts), host.nextSibling);

  function place() {
    const plot = chart.over.getBoundingClientRect();
    const left = plot.left - host.getBoundingClientRect().left;
    for (const m of marks) {
      const x = chart.valToPos(m.time, "x");
      m.button.hidden = !(x >= 0 && x <= plot.width);
      m.button.style.left = `${left + x}px`;
    }
  }

  function mark(name, time, byHand, set) {
    const button = make("button", { type: "button", class: byHand ? "mark by-hand" : "mark", role: "slider", "aria-label": `${name} of ${card.name}${byHand ? ", set by hand" : ""}`, "aria-valuemin": String(chart.data[0][0]), "aria-valuemax": String(chart.data[0].at(-1)), disabled: readOnly }, name);
    const m = { button, time };
    const show = () => {
      button.setAttribute("aria-valuenow", String(m.time));
      button.setAttribute("aria-valuetext", seconds(m.time));
      button.title = seconds(m.time);
      place();
    };
    button.addEventListener("pointerdown", (event) => {
      event.preventDefault();
      button.focus();
      button.setPointerCapture(event.pointerId);
      const from = event.clientX;
      const began = m.time;
      const move = (e) => {
        const plot = chart.over.getBoundingClientRect();
        m.time = chart.posToVal(e.clientX - plot.left, "x");
        show();
      };
      const end = (e) => {
        button.removeEventListener("pointermove", move);
        if (Math.abs(e.clientX - from) > 2) set(rounded(m.time));
        else m.time = began;
      };
      button.addEventListener("pointermove", move);
      button.addEventListener("pointerup", end, { once: true });
    });
    let later = 0;
    button.addEventListener("keydown", (event) => {
      const direction = { ArrowLeft: -1, ArrowRight: 1 }[event.key];
      if (!direction) return;
      event.preventDefault();
      const span = chart.scales.x.max - chart.scales.x.min;
      m.time += direction * span * (event.shiftKey ? 0.02 : 0.002);
      show();
      clearTimeout(later);
      later = setTimeout(() => set(rounded(m.time)), 600);
    });
    queueMicrotask(show);
    return m;
  }

  /** To a thousandth of what the picture shows: no more digits than a hand can set. */
  function rounded(time) {
    const span = chart.scales.x.max - chart.scales.x.min;
    const step = 10 ** Math.floor(Math.log10(span / 5000));
    return Number((Math.round(time / step) * step).toPrecision(9));
  }

  chart.hooks.setScale.push(() => requestAnimationFrame(place));
  chart.hooks.setSize = [...(chart.hooks.setSize ?? []), () => requestAnimationFrame(place)];
  requestAnimationFrame(place);
}

function markTools(card, capture, chart, sheet, at, cuts) {
  const tools = make("div", { class: "tools", role: "group", "aria-label": `Events and cuts of ${card.name}` });
  tools.append(make("button", { type: "button", onclick: () => {
    const { min, max } = chart.scales.x;
    const [from, to] = [min + 0.4 * (max - min), min + 0.6 * (max - min)].map((t) => Number(t.toPrecision(4)));
    change(`cut of ${card.name}`, [{ at: at("cuts_s"), was: sheet().cuts_s ?? null, value: [...cuts, [from, to]] }]);
  } }, "cut a stretch"));
  const events = sheet().events_s;
  if (events) tools.append(make("button", { type: "button", onclick: () => change(`events of ${card.name} as found`, [{ at: at("events_s"), was: events, value: null }]) }, "events as found"));
  if (cuts.length) tools.append(make("button", { type: "button", onclick: () => change(`no cuts of ${card.name}`, [{ at: at("cuts_s"), was: sheet().cuts_s, value: null }]) }, "remove cuts"));
  return tools;
}
