// One chart of the plotting library inside its element, with a legend that tells the cursor's values, and a time axis that
// several charts share.
const charts = [];

/** A colour of the style sheet, in the scheme that is shown. */
function ink(name) {
  return getComputedStyle(document.documentElement).getPropertyValue("--" + name).trim();
}

/** Tables put on one list of x; a break of one series stays a break between the x of the others. */
function joined(tables) {
  return uPlot.join(tables, tables.map((table) => table.map(() => 2)));
}

/** Of the splits of a logarithmic axis only the powers of ten. */
function decades(u, splits) {
  return splits.map((v) => (v > 0 && Math.abs(Math.log10(v) - Math.round(Math.log10(v))) < 1e-6 ? v : null));
}

const DASHES = { line: [], dash: [7, 4], dot: [2, 3] };

/** The mark of a series in the legend: a line as it is drawn, or a block for a band. */
function legendMark(series) {
  const NS = "http://www.w3.org/2000/svg";
  const svg = document.createElementNS(NS, "svg");
  svg.setAttribute("width", "24");
  svg.setAttribute("height", "10");
  svg.setAttribute("aria-hidden", "true");
  const line = document.createElementNS(NS, "line");
  for (const [key, value] of [["x1", 0], ["x2", 24], ["y1", 5], ["y2", 5], ["stroke-width", 2], ["class", "k-" + series.ink]]) line.setAttribute(key, value);
  if (series.style && series.style !== "line") line.setAttribute("stroke-dasharray", DASHES[series.style].join(" "));
  svg.append(line);
  return svg;
}

/** Hatches a stretch of the plotting area. */
function hatch(u, from, to) {
  const { ctx } = u;
  const left = Math.max(u.bbox.left, u.valToPos(from, "x", true));
  const right = Math.min(u.bbox.left + u.bbox.width, u.valToPos(to, "x", true));
  if (right < left) return;
  const width = Math.max(right - left, 1.5);
  ctx.save();
  ctx.beginPath();
  ctx.rect(left, u.bbox.top, width, u.bbox.height);
  ctx.clip();
  ctx.strokeStyle = ink("cut");
  ctx.lineWidth = 1;
  ctx.beginPath();
  const step = 7 * devicePixelRatio;
  for (let x = Math.floor((left - u.bbox.height) / step) * step; x < left + width; x += step) {
    ctx.moveTo(x, u.bbox.top + u.bbox.height);
    ctx.lineTo(x + u.bbox.height, u.bbox.top);
  }
  ctx.stroke();
  ctx.restore();
}

/** An upright line with a word at its head; words that would run into the one before are left out. */
function uprights(u, marks) {
  const { ctx } = u;
  let free = -Infinity;
  ctx.save();
  ctx.font = `${11 * devicePixelRatio}px ${getComputedStyle(document.body).fontFamily}`;
  ctx.textBaseline = "top";
  ctx.textAlign = "left";
  for (const mark of marks) {
    const x = Math.round(u.valToPos(mark.at, "x", true));
    if (x < u.bbox.left || x > u.bbox.left + u.bbox.width) continue;
    ctx.strokeStyle = ink("quiet");
    ctx.lineWidth = devicePixelRatio;
    ctx.setLineDash([2 * devicePixelRatio, 2 * devicePixelRatio]);
    ctx.beginPath();
    ctx.moveTo(x, u.bbox.top);
    ctx.lineTo(x, u.bbox.top + u.bbox.height);
    ctx.stroke();
    const width = ctx.measureText(mark.word).width;
    let place = x + 4 * devicePixelRatio;
    if (place + width > u.bbox.left + u.bbox.width) place = x - width - 4 * devicePixelRatio;
    if (place < free) continue;
    ctx.fillStyle = ink("ink");
    ctx.fillText(mark.word, place, u.bbox.top + 2 * devicePixelRatio);
    free = place + width + 6 * devicePixelRatio;
  }
  ctx.restore();
}

/** Level lines across the plotting area. */
function levels(u, scale, values) {
  const { ctx } = u;
  ctx.save();
  ctx.strokeStyle = ink("quiet");
  ctx.lineWidth = devicePixelRatio;
  ctx.setLineDash([6 * devicePixelRatio, 4 * devicePixelRatio]);
  for (const value of values) {
    const y = Math.round(u.valToPos(value, scale, true));
    if (y < u.bbox.top || y > u.bbox.top + u.bbox.height) continue;
    ctx.beginPath();
    ctx.moveTo(u.bbox.left, y);
    ctx.lineTo(u.bbox.left + u.bbox.width, y);
    ctx.stroke();
  }
  ctx.restore();
}

/**
 * Draws a chart into the element `id`.
 * spec: { height, x: {unit, name}, y: [{scale, unit, name, ink, range}], data, series: [{label, ink, style, scale, unit, band,
 * hidden, points}], bands: [{series, ink}], behind(u), before(u), log, group }
 */
function drawChart(id, spec) {
  const host = document.getElementById(id);
  if (!host) return null;
  const legend = document.createElement("ul");
  legend.className = "legend";
  const outputs = [];
  spec.series.forEach((series, k) => {
    if (series.hidden) return;
    const item = document.createElement("li");
    const told = document.createElement("output");
    told.setAttribute("aria-live", "off");
    told.setAttribute("aria-label", `${series.label} under the cursor`);
    item.append(legendMark(series), series.label + " ", told);
    legend.append(item);
    outputs.push([k + 1, told, series]);
  });
  const where = document.createElement("li");
  where.className = "place";
  const place = document.createElement("output");
  place.setAttribute("aria-live", "off");
  place.setAttribute("aria-label", "place of the cursor");
  where.append("at ", place);
  legend.append(where);
  host.append(legend);

  const font = () => `${innerWidth < 500 ? 11 : 12}px ${getComputedStyle(document.body).fontFamily}`;
  const axes = [{ scale: "x", unit: spec.x.unit, label: spec.x.name }, ...spec.y.map((y) => ({ scale: y.scale, unit: y.unit, label: y.name, side: y.side, ink: y.ink, free: y.free, log: y.log }))].map((axis, k) => ({
    scale: axis.scale,
    side: k === 0 ? 2 : axis.side ?? 3,
    stroke: () => ink(axis.ink ?? "quiet"),
    grid: { show: !axis.free, stroke: () => ink("grid"), width: 1, ...(axis.log ? { filter: decades } : {}) },
    ticks: { stroke: () => ink("grid"), width: 1, size: 5, ...(axis.log ? { filter: decades } : {}) },
    font: font(),
    labelFont: font(),
    label: axis.label,
    labelSize: axis.label ? 16 : 0,
    gap: 3,
    size: k === 0 ? 26 : innerWidth < 500 ? 54 : 62,
    space: k === 0 ? 74 : 26,
    values: (u, splits, _axis, _space, increment) => {
      const unit = typeof axis.unit === "function" ? axis.unit() : axis.unit;
      if (u.scales[axis.scale].distr === 3) return splits.map((v) => v == null ? "" : Math.abs(Math.log10(v) - Math.round(Math.log10(v))) < 1e-6 ? (unit === "%" ? plain(100 * v, 1) + "\u202f%" : plain(v, 1)) : "");
      return tickLabels(splits, increment, unit);
    },
  }));
  const scales = { x: { time: false, range: spec.x.range } };
  const powers = (_u, min, max) => [10 ** Math.floor(Math.log10(min)), 10 ** Math.ceil(Math.log10(max * 1.6))];
  for (const y of spec.y) scales[y.scale] = { range: y.range ?? (y.log ? powers : undefined), distr: y.log ? 3 : 1, log: 10 };
  const options = {
    width: Math.max(240, host.clientWidth),
    height: spec.height,
    legend: { show: false },
    scales,
    axes,
    cursor: {
      y: false,
      drag: { x: true, y: false, setScale: false, dist: 4 },
      points: { size: 6 },
      sync: spec.group ? { key: spec.group.key, scales: ["x", null] } : undefined,
    },
    series: [{}, ...spec.series.map((s) => ({
      scale: s.scale,
      stroke: s.invisible ? undefined : () => ink(s.ink),
      width: s.invisible ? 0 : s.width ?? 1.5,
      dash: DASHES[s.style ?? "line"],
      points: s.points ? { show: true, size: s.points, stroke: () => ink(s.ink), fill: () => ink(s.fill ?? s.ink), width: 1.5 } : { show: false },
      paths: s.bars ? uPlot.paths.bars({ size: [0.5, 40], align: 0 }) : s.points && !s.line ? () => null : undefined,
      fill: s.bars ? () => ink(s.ink) : undefined,
      spanGaps: false,
    }))],
    bands: (spec.bands ?? []).map((b) => ({ series: b.series, fill: () => ink(b.ink) })),
    hooks: {
      drawClear: [(u) => spec.behind?.(u)],
      draw: [(u) => {
        spec.before?.(u);
        host.dataset.drawn = "true";
      }],
      setCursor: [(u) => tellCursor(u)],
      setScale: [(u, key) => {
        if (key !== "x") return;
        host.dataset.from = u.scales.x.min;
        host.dataset.to = u.scales.x.max;
      }],
      setSelect: [(u) => {
        if (u.select.width <= 0) return;
        const from = u.posToVal(u.select.left, "x");
        const to = u.posToVal(u.select.left + u.select.width, "x");
        u.setSelect({ left: 0, width: 0, top: 0, height: 0 }, false);
        range.set(from, to);
      }],
    },
  };

  function tellCursor(u) {
    const index = u.cursor.idx;
    const unit = typeof spec.x.unit === "function" ? spec.x.unit() : spec.x.unit;
    place.textContent = index == null ? "" : spec.x.write ? spec.x.write(u.data[0][index]) : engineering(u.data[0][index], unit, 5);
    for (const [k, told, series] of outputs) {
      // Joined series have points of their own: the nearest one that this series has.
      let value = index == null ? null : nearest(u.data[k], index);
      if (series.read) value = value == null ? null : series.read(value);
      const text = typeof series.unit === "function" ? series.unit() : series.unit;
      told.textContent = index == null ? "" : value == null ? "–" : text === "%" ? plain(100 * value, 3) + "\u202f%" : text ? engineering(value, text) : plain(value, 3);
    }
  }

  const u = new uPlot(options, spec.data, host);
  const range = spec.group ?? new SharedRange(id, spec.whole ?? [spec.data[0][0], spec.data[0][spec.data[0].length - 1]]);
  range.add(u, host);
  u.over.addEventListener("dblclick", () => range.all());
  panByPointer(u, range);
  charts.push({ u, host, range });
  tellCursor(u);
  return u;
}

function nearest(values, index) {
  for (let distance = 0; distance < 60; distance += 1) {
    for (const k of [index - distance, index + distance]) {
      if (values[k] === null) return null;
      if (values[k] !== undefined) return values[k];
    }
  }
  return null;
}

/** Dragging with the shift key or the middle button moves the axis. */
function panByPointer(u, range) {
  u.over.addEventListener("mousedown", (event) => {
    if (!(event.shiftKey || event.button === 1)) return;
    event.preventDefault();
    event.stopImmediatePropagation();
    const { min, max } = u.scales.x;
    const perPixel = (max - min) / u.over.clientWidth;
    const from = event.clientX;
    const move = (e) => range.set(min - (e.clientX - from) * perPixel, max - (e.clientX - from) * perPixel);
    const end = () => {
      document.removeEventListener("mousemove", move);
      document.removeEventListener("mouseup", end);
    };
    document.addEventListener("mousemove", move);
    document.addEventListener("mouseup", end);
  }, true);
}

/** The x axis that charts share, with its buttons and keys. */
class SharedRange {
  constructor(key, whole, write) {
    this.key = key;
    this.whole = whole;
    this.current = [...whole];
    this.members = [];
    this.write = write;
  }

  add(u, host) {
    this.members.push(u);
    host.addEventListener("keydown", (event) => {
      const action = { "+": "in", "=": "in", "-": "out", ArrowLeft: "left", ArrowRight: "right", 0: "all" }[event.key];
      if (!action || event.ctrlKey || event.metaKey || event.altKey) return;
      event.preventDefault();
      this.do(action);
    });
    u.setScale("x", { min: this.current[0], max: this.current[1] });
  }

  tools(element) {
    this.told = element.querySelector(".range");
    for (const button of element.querySelectorAll("button")) button.addEventListener("click", () => this.do(button.dataset.do));
    this.tell();
  }

  tell() {
    if (this.told) this.told.textContent = this.current.map((v) => this.write(v)).join(" to ");
  }

  do(action) {
    const [from, to] = this.current;
    const [middle, span] = [(from + to) / 2, to - from];
    if (action === "in") this.set(middle - span / 4, middle + span / 4);
    if (action === "out") this.set(middle - span, middle + span);
    if (action === "left") this.set(from - span / 4, to - span / 4);
    if (action === "right") this.set(from + span / 4, to + span / 4);
    if (action === "all") this.all();
  }

  all() {
    this.set(...this.whole);
  }

  /** Never beyond the record, never finer than the numbers can tell. */
  set(from, to) {
    const [first, last] = this.whole;
    const span = Math.min(Math.max(to - from, (last - first) * 1e-6), last - first);
    let begin = (from + to) / 2 - span / 2;
    begin = Math.max(first, Math.min(begin, last - span));
    this.current = [begin, begin + span];
    for (const u of this.members) u.setScale("x", { min: begin, max: begin + span });
    this.tell();
  }
}

function resizeAll(width) {
  for (const { u, host } of charts) {
    const wanted = Math.max(240, width ?? host.clientWidth);
    if (wanted !== u.width) u.setSize({ width: wanted, height: u.height });
  }
}

function redrawAll() {
  for (const { u } of charts) u.redraw(false, true);
}
