// The charts of one capture: voltage, current, residual on one time axis; autocorrelation; the first milliseconds.
function seconds(value) {
  return engineering(value, "s", 4);
}

/** Record and model of one channel put on one list of times. */
function channelData(trace, envelope, model) {
  const tables = [[trace.time_s, envelope.mean, envelope.least, envelope.most]];
  if (model) tables.push([model.time_s, model.value, model.lower, model.upper]);
  return tables.length > 1 ? joined(tables) : tables[0];
}

function channelChart(id, capture, channel, height, group, trace) {
  const voltage = channel === "voltage";
  const [colour, unit] = voltage ? ["voltage", "V"] : ["current", "A"];
  const envelope = voltage ? trace.voltage_v : trace.current_a;
  if (!envelope) return null;
  const model = clipped(voltage ? capture.voltage_model : capture.current_model, group.whole);
  const series = [
    { label: channel, ink: colour, unit },
    { label: "lowest", ink: colour, invisible: true, hidden: true },
    { label: "highest", ink: colour, invisible: true, hidden: true },
  ];
  const bands = [{ series: [3, 2], ink: colour + "-pale" }];
  if (model) {
    series.push({ label: "model", ink: "model", style: "dash", unit, width: 1.5 }, { label: "band", ink: "model", invisible: true, hidden: true }, { label: "band", ink: "model", invisible: true, hidden: true });
    bands.push({ series: [6, 5], ink: "model-pale" });
  }
  return drawChart(id, {
    height,
    group,
    x: { unit: "s" },
    y: [{ scale: "y", unit, ink: colour }],
    data: channelData(trace, envelope, model),
    series: series.map((s) => ({ scale: "y", ...s })),
    bands,
    behind: (u) => capture.cuts.forEach((cut) => hatch(u, cut.from_s, cut.to_s)),
    before: (u) => uprights(u, capture.instants.map((i) => ({ at: i.time_s, word: i.name }))),
  });
}

/** The part of a model curve within a stretch of time. */
function clipped(model, [from, to]) {
  if (!model) return null;
  const keep = model.time_s.map((t, k) => [t, k]).filter(([t]) => t >= from && t <= to).map(([, k]) => k);
  if (keep.length === 0) return null;
  const pick = (values) => keep.map((k) => values[k]);
  return { time_s: pick(model.time_s), value: pick(model.value), lower: pick(model.lower), upper: pick(model.upper) };
}

function residualChart(id, capture, group) {
  const curves = [["voltage", capture.voltage_model], ["current", capture.current_model]].filter(([, model]) => model);
  if (curves.length === 0) return;
  drawChart(id, {
    height: 130,
    group,
    x: { unit: "s" },
    y: [{ scale: "y", unit: "", range: (_u, min, max) => [Math.min(-3, min), Math.max(3, max)] }],
    data: joined(curves.map(([, model]) => [model.time_s, model.residual])),
    series: curves.map(([channel]) => ({ label: `residual of the ${channel}`, ink: channel, scale: "y", unit: "", width: 1 })),
    behind: (u) => {
      capture.cuts.forEach((cut) => hatch(u, cut.from_s, cut.to_s));
      levels(u, "y", [-2, 0, 2]);
    },
  });
}

function autocorrelationChart(id, capture) {
  const list = capture.autocorrelation;
  if (list.length === 0) return;
  const longest = list.reduce((a, b) => (a.lags.length >= b.lags.length ? a : b));
  drawChart(id, {
    height: 190,
    x: { unit: "", write: (v) => `${v} bins`, range: () => [0, longest.lags.length + 1] },
    whole: [0, longest.lags.length + 1],
    y: [{ scale: "y", unit: "", range: (_u, min, max) => [Math.min(-0.5, min), Math.max(1, max)] }],
    data: joined(list.map((a) => [a.lags, a.values])),
    series: list.map((a) => ({ label: a.channel, ink: a.channel, scale: "y", unit: "", points: 5, line: true, width: 1 })),
    behind: (u) => levels(u, "y", [0, ...list.flatMap((a) => [-a.band, a.band])]),
  });
}

function drawCapture(article) {
  const capture = data.captures[Number(article.dataset.capture)];
  const id = article.id;
  const times = capture.trace.time_s.filter((t) => t != null);
  if (times.length < 2) return;
  const group = new SharedRange(id, [times[0], times[times.length - 1]], seconds);
  channelChart(`${id}-voltage`, capture, "voltage", 210, group, capture.trace);
  channelChart(`${id}-current`, capture, "current", 210, group, capture.trace);
  residualChart(`${id}-residual`, capture, group);
  group.tools(article.querySelector(".tools"));
  autocorrelationChart(`${id}-autocorrelation`, capture);
  if (capture.inset) insetChart(`${id}-inset`, capture);
}

/** The rise of the current, with the voltage on an axis of its own. */
function insetChart(id, capture) {
  const { inset } = capture;
  const whole = [inset.from_s, inset.to_s];
  const [v, i] = [inset.trace.voltage_v, inset.trace.current_a];
  const model = clipped(capture.current_model, whole);
  const tables = [[inset.trace.time_s, ...(i ? [i.mean, i.least, i.most] : []), ...(v ? [v.mean] : [])]];
  const series = [];
  const bands = [];
  const y = [];
  if (i) {
    series.push({ label: "current", ink: "current", scale: "i", unit: "A" }, { hidden: true, invisible: true, ink: "current", scale: "i" }, { hidden: true, invisible: true, ink: "current", scale: "i" });
    bands.push({ series: [3, 2], ink: "current-pale" });
    y.push({ scale: "i", unit: "A", ink: "current" });
  }
  if (v) {
    series.push({ label: "voltage", ink: "voltage", style: "dot", scale: "v", unit: "V", width: 1.2 });
    y.push({ scale: "v", unit: "V", ink: "voltage", side: i ? 1 : 3, free: Boolean(i) });
  }
  if (model && i) {
    tables.push([model.time_s, model.value]);
    series.push({ label: "model of the current", ink: "model", style: "dash", scale: "i", unit: "A" });
  }
  drawChart(id, {
    height: 230,
    whole,
    x: { unit: "s", range: undefined },
    y,
    data: tables.length > 1 ? joined(tables) : tables[0],
    series,
    bands,
    behind: (u) => capture.cuts.forEach((cut) => hatch(u, cut.from_s, cut.to_s)),
    before: (u) => uprights(u, capture.instants.map((m) => ({ at: m.time_s, word: m.name }))),
  });
}
