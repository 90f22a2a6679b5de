// The torque-speed chart: numbers of the table, interpolated between its voltages.
const MARKS = ["no load", "best efficiency", "most power", "stall"];

/** The table's numbers at a voltage within its grid: cubic interpolation (Lagrange) between four of its voltages, number by number. */
function atVoltage(table, voltage) {
  const grid = table.voltages_v;
  const below = grid.filter((v) => v <= voltage).length;
  const first = Math.max(0, Math.min(grid.length - 4, below - 2));
  const near = grid.slice(first, first + 4);
  const weights = near.map((v) => near.reduce((product, other) => (other === v ? product : product * (voltage - other) / (v - other)), 1));
  const mix = (parts) => {
    if (parts.some((part) => part == null)) return null;
    if (typeof parts[0] === "number") return parts.reduce((sum, part, k) => sum + weights[k] * part, 0);
    if (Array.isArray(parts[0])) return parts[0].map((_, k) => mix(parts.map((part) => part[k])));
    return Object.fromEntries(Object.keys(parts[0]).map((key) => [key, mix(parts.map((part) => part[key]))]));
  };
  return mix(table.at.slice(first, first + 4));
}

function drawOperating() {
  const table = data.operating;
  const field = document.getElementById("voltage");
  if (!field) return;
  const told = document.getElementById("voltage-told");
  const body = document.querySelector("#operating-table tbody");
  let [upper, lower] = [null, null];
  const torque = () => unitSwitch.of("torque");
  const speed = () => unitSwitch.of("speed");
  // The table's numbers at the voltage shown.
  let shown = null;
  const unseen = () => {
    const place = shown.curve.current.findIndex((current) => current > (table.largest_current_a ?? Infinity));
    return place < 0 ? null : shown.curve.torque[place];
  };
  const banded = table?.at.some((at) => at.band != null);
  const ends = (key, scale) => [0, 1].map((end) => shown.curve.torque.map((_, k) => (shown.band ? shown.band[key][k][end] / scale : null)));
  const bandColumns = (keys) => (banded ? keys.flatMap(([key, scale]) => ends(key, scale)) : []);
  const hiddenPair = (colour, scale) => (banded ? [1, 2].map(() => ({ hidden: true, invisible: true, ink: colour, scale })) : []);
  const scaled = (key, scale) => shown.curve[key].map((v) => v / scale);
  const columns = (keys) => [scaled("torque", torque().factor), ...keys.map(([key, scale]) => scaled(key, scale))];
  const beyond = (u) => {
    const from = unseen();
    if (from != null) hatch(u, from / torque().factor, u.scales.x.max);
  };
  const rise = (_u, min, max) => [0, max > 0 ? max * 1.05 : 1];
  const range = () => [0, shown.curve.torque[shown.curve.torque.length - 1] / torque().factor];
  const written = (v) => `${plain(v, 4)} ${torque().text}`;

  function refusal(voltage) {
    if (!(voltage > 0)) return "a voltage above zero is needed";
    if (!table) return "the motor does not turn at its supply voltage";
    const [least, most] = [table.voltages_v[0], table.voltages_v[table.voltages_v.length - 1]];
    return voltage >= least && voltage <= most ? "" : `this page holds curves from ${plain(least, 3)} V to ${plain(most, 3)} V`;
  }

  function update() {
    const voltage = field.value.trim() === "" ? 0 : Number(field.value);
    told.textContent = refusal(voltage);
    field.setAttribute("aria-invalid", String(told.textContent !== ""));
    if (told.textContent) return;
    shown = atVoltage(table, voltage);
    const [fast, slow] = [[["speed", speed().factor], ["current", 1]], [["efficiency", 0.01], ["power", 1]]];
    const upperData = [...columns(fast), ...bandColumns(fast)];
    const lowerData = [...columns(slow), ...bandColumns(slow)];
    rows();
    if (!upper) {
      upper = drawChart("operating-speed", {
        height: 240,
        whole: range(),
        x: { unit: "", write: written, name: `torque / ${torque().text}` },
        y: [{ scale: "s", unit: "", name: `speed / ${speed().text}`, ink: "voltage", range: rise }, { scale: "i", unit: "A", ink: "current", side: 1, free: true, range: rise }],
        data: upperData,
        series: [{ label: "speed", ink: "voltage", scale: "s", unit: "" }, { label: "current", ink: "current", style: "dash", scale: "i", unit: "A" }, ...hiddenPair("voltage", "s"), ...hiddenPair("current", "i")],
        bands: banded ? [{ series: [4, 3], ink: "voltage-pale" }, { series: [6, 5], ink: "current-pale" }] : [],
        behind: beyond,
      });
      lower = drawChart("operating-power", {
        height: 220,
        whole: range(),
        x: { unit: "", write: written, name: `torque / ${torque().text}` },
        y: [{ scale: "n", unit: "", name: "efficiency / %", ink: "third", range: () => [0, 100] }, { scale: "p", unit: "W", ink: "model", side: 1, free: true, range: rise }],
        data: lowerData,
        series: [{ label: "efficiency / %", ink: "third", scale: "n", unit: "" }, { label: "shaft power", ink: "model", style: "dash", scale: "p", unit: "W" }, ...hiddenPair("third", "n"), ...hiddenPair("model", "p")],
        bands: banded ? [{ series: [4, 3], ink: "third-pale" }, { series: [6, 5], ink: "model-pale" }] : [],
        behind: beyond,
      });
      return;
    }
    for (const [u, values] of [[upper, upperData], [lower, lowerData]]) {
      u.axes[0].label = `torque / ${torque().text}`;
      if (u === upper) u.axes[1].label = `speed / ${speed().text}`;
      u.setData(values, false);
      // The redraw keeps the old axis, so the new one comes after it.
      u.redraw(true, true);
      const chart = charts.find((c) => c.u === u);
      chart.range.whole = range();
      chart.range.all();
    }
  }

  function rows() {
    // Value and bounds to two digits of half the interval; to `digits` where there is none.
    const written = (place, key, scale, unit, digits) => {
      const value = Math.max(0, shown.marks[key][place]);
      const [low, high] = (shown.mark_bounds?.[key][place] ?? [value, value]).map((v) => Math.max(0, v));
      const exponent = unit === "A" || unit === "W" ? exponentFor(Math.max(value, high)) : 0;
      const [number, text] = [scale * 10 ** exponent, `\u202f${PREFIXES[exponent]}${unit}`];
      if (!(high > low)) return [plain(value / number, digits) + (value === 0 ? `\u202f${unit}` : text), ""];
      const step = 10 ** (Math.floor(Math.log10((high - low) / 2 / number)) - 1);
      const round = (v) => (Math.round(v / number / step) * step).toFixed(Math.max(0, -Math.round(Math.log10(step))));
      return [round(value) + text, `${round(low)} to ${round(high)}`];
    };
    body.replaceChildren(...MARKS.map((name, place) => {
      const row = document.createElement("tr");
      const head = document.createElement("th");
      head.scope = "row";
      head.textContent = name;
      row.append(head);
      for (const [key, scale, unit, digits] of [
        ["torque", torque().factor, torque().text, 4],
        ["speed", speed().factor, speed().text, 4],
        ["current", 1, "A", 4],
        ["power", 1, "W", 3],
        ["efficiency", 0.01, "%", 3],
      ]) {
        const cell = document.createElement("td");
        const [value, ends] = written(place, key, scale, unit, digits);
        cell.textContent = value;
        if (ends) {
          const small = document.createElement("span");
          small.className = "spread";
          small.textContent = ends;
          cell.append(" ", small);
        }
        row.append(cell);
      }
      return row;
    }));
  }

  field.form.addEventListener("submit", (event) => event.preventDefault());
  field.addEventListener("input", update);
  unitSwitch.listeners.push(update);
  update();
}
