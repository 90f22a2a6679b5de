// Ripple spectrum, speed over time, and the torque-speed chart.
function drawRipple(article) {
  const ripple = data.ripple[Number(article.dataset.ripple)];
  const id = article.id;
  if (ripple.frequency.length > 2) {
    const last = ripple.frequency[ripple.frequency.length - 1];
    const write = (v) => plain(v, 4);
    const group = new SharedRange(id, [ripple.frequency[0], last], (v) => `${write(v)} ${ripple.axis}`);
    const positive = (values) => values.map((v) => (v > 0 ? v : null));
    const floor = Math.min(...ripple.floor.filter((v) => v > 0));
    const teeth = [ripple.comb.map((t) => t.frequency), ripple.comb.map((t) => (t.amplitude > floor / 3 ? t.amplitude : null))];
    const order = teeth[0].map((f, k) => [f, teeth[1][k]]).sort((a, b) => a[0] - b[0]);
    drawChart(`${id}-spectrum`, {
      height: 280,
      group,
      x: { unit: "", write: (v) => `${write(v)} ${ripple.axis}`, name: ripple.axis },
      y: [{ scale: "y", unit: "%", log: true }],
      data: joined([
        [ripple.frequency, positive(ripple.amplitude), positive(ripple.threshold), positive(ripple.floor)],
        [order.map((t) => t[0]), order.map((t) => t[1])],
      ]),
      series: [
        { label: "amplitude", ink: "voltage", scale: "y", unit: "%", width: 1 },
        { label: "threshold", ink: "model", style: "dash", scale: "y", unit: "%", width: 1 },
        { label: "floor of noise", ink: "quiet", style: "dot", scale: "y", unit: "%", width: 1 },
        { label: "comb", ink: "current", scale: "y", unit: "%", points: 9, fill: "paper" },
      ],
      before: (u) => combNumbers(u, ripple.comb),
    });
    group.tools(article.querySelector(".tools"));
    group.set(...ripple.view);
  }
  if (ripple.speed_time_s.length > 2) drawSpeed(`${id}-speed`, ripple);
}

/** The order of a tooth over its dot. */
function combNumbers(u, comb) {
  const { ctx } = u;
  ctx.save();
  ctx.font = `${11 * devicePixelRatio}px ${getComputedStyle(document.body).fontFamily}`;
  ctx.fillStyle = ink("ink");
  ctx.textAlign = "center";
  let free = -Infinity;
  for (const tooth of [...comb].sort((a, b) => a.frequency - b.frequency)) {
    const [x, y] = [u.valToPos(tooth.frequency, "x", true), u.valToPos(tooth.amplitude, "y", true)];
    const width = ctx.measureText(tooth.label).width;
    if (x < u.bbox.left || x > u.bbox.left + u.bbox.width || y > u.bbox.top + u.bbox.height || x - width / 2 < free) continue;
    ctx.fillText(tooth.label, x, Math.max(y - 8 * devicePixelRatio, u.bbox.top + 10 * devicePixelRatio));
    free = x + width / 2 + 3 * devicePixelRatio;
  }
  ctx.restore();
}

/** Speed over time of one stretch of current. */
function drawMotion(figure) {
  const motion = data.motion[Number(figure.dataset.motion)];
  if (motion.speed_time_s.length > 2) drawSpeed(`${figure.id}-speed`, motion);
}

function speedData(ripple) {
  const { factor } = unitSwitch.of("speed");
  const turn = (values) => values.map((v) => (v == null ? null : v / factor));
  const model = ripple.model_rad_s?.length ? [turn(ripple.model_rad_s)] : [];
  return [ripple.speed_time_s, turn(ripple.speed_rad_s), turn(ripple.speed_lower_rad_s), turn(ripple.speed_upper_rad_s), ...model];
}

function drawSpeed(id, ripple) {
  const text = () => unitSwitch.of("speed").text;
  const u = drawChart(id, {
    height: 200,
    x: { unit: "s" },
    y: [{ scale: "y", unit: "", name: text(), ink: "voltage" }],
    data: speedData(ripple),
    series: [
      { label: "speed", ink: "voltage", scale: "y", read: (v) => v, unit: "" },
      { hidden: true, invisible: true, ink: "voltage", scale: "y" },
      { hidden: true, invisible: true, ink: "voltage", scale: "y" },
      ...(ripple.model_rad_s?.length ? [{ label: "by voltage balance", ink: "model", style: "dash", scale: "y", read: (v) => v, unit: "" }] : []),
    ],
    bands: [{ series: [3, 2], ink: "voltage-pale" }],
  });
  if (!u) return;
  unitSwitch.listeners.push(() => {
    u.axes[1].label = text();
    u.setData(speedData(ripple), false);
    u.redraw(true, true);
    rescale(u);
  });
}

/** Fits the upright scales to new numbers while the x axis stays. */
function rescale(u) {
  const { min, max } = u.scales.x;
  u.setScale("x", { min, max });
}

/**
 * State of the motor at a terminal voltage and a current: voltage balance and torque balance of the fitted model,
 * U = R i + V_b tanh(i/I_b) + (1 − a|i|) K ω and T = (1 − a|i|) K i − T_c − B ω − C_w ω².
 */
function stateAt(motor, voltage, current) {
  const linkage = 1 - motor.armature_reaction_per_a * current;
  const drop = motor.terminal_resistance_ohm * current + motor.brush_drop_v * Math.tanh(current / motor.brush_scale_a);
  const speed = (voltage - drop) / (linkage * motor.back_emf_constant_v_s_per_rad);
  const drag = speed > 0 ? motor.coulomb_friction_nm + motor.viscous_friction_nm_s_per_rad * speed + motor.windage_nm_s2_per_rad2 * speed * speed : motor.coulomb_friction_nm;
  const torque = linkage * motor.back_emf_constant_v_s_per_rad * current - drag;
  const power = torque * speed;
  return { current, speed, torque, power, efficiency: voltage * current > 0 ? power / (voltage * current) : 0 };
}

/** Root of a function that rises through zero between two places. */
function bisect(f, low, high) {
  for (let k = 0; k < 80; k += 1) {
    const middle = (low + high) / 2;
    if (f(middle) > 0) high = middle;
    else low = middle;
  }
  return (low + high) / 2;
}

/** Place of the one peak of a function, by golden section. */
function summit(f, low, high) {
  const share = (Math.sqrt(5) - 1) / 2;
  let [left, right] = [high - share * (high - low), low + share * (high - low)];
  let [atLeft, atRight] = [f(left), f(right)];
  for (let k = 0; k < 40; k += 1) {
    if (atLeft > atRight) {
      [high, right, atRight] = [right, left, atLeft];
      left = high - share * (high - low);
      atLeft = f(left);
    } else {
      [low, left, atLeft] = [left, right, atRight];
      right = low + share * (high - low);
      atRight = f(right);
    }
  }
  return (low + high) / 2;
}

/** Curves from no load to stall; null where the motor does not even turn. */
function operatingCurve(motor, voltage, count = 240) {
  if (!(voltage > 0)) return null;
  const stall = bisect((i) => -stateAt(motor, voltage, i).speed, 0, voltage / motor.terminal_resistance_ohm);
  if (!(stateAt(motor, voltage, stall).torque > 0)) return null;
  const free = bisect((i) => stateAt(motor, voltage, i).torque, 0, stall);
  const states = Array.from({ length: count + 1 }, (_, k) => stateAt(motor, voltage, free + ((stall - free) * k) / count));
  // The ends are exact: what the root leaves over is rounding.
  Object.assign(states[0], { torque: 0, power: 0, efficiency: 0 });
  Object.assign(states[count], { speed: 0, power: 0, efficiency: 0 });
  for (const s of states) {
    s.power = Math.max(0, s.power);
    s.efficiency = Math.max(0, s.efficiency);
  }
  // Both have one peak between no load and stall.
  const best = (key) => stateAt(motor, voltage, summit((i) => stateAt(motor, voltage, i)[key], free, stall));
  return { states, marks: [["no load", states[0]], ["best efficiency", best("efficiency")], ["most power", best("power")], ["stall", states[count]]] };
}

/** The motor with the numbers of a draw: R, K, T_c, B, C_w, V_b. */
function drawn(motor, draw) {
  const [terminal_resistance_ohm, back_emf_constant_v_s_per_rad, coulomb_friction_nm, viscous_friction_nm_s_per_rad, windage_nm_s2_per_rad2, brush_drop_v] = draw;
  return { ...motor, terminal_resistance_ohm, back_emf_constant_v_s_per_rad, coulomb_friction_nm, viscous_friction_nm_s_per_rad, windage_nm_s2_per_rad2, brush_drop_v };
}

/** State at a torque between two of a curve; beyond its end the motor stands and draws its stall current. */
function atTorque(states, torque) {
  let [low, high] = [0, states.length - 1];
  if (torque >= states[high].torque) return states[high];
  while (high - low > 1) {
    const middle = (low + high) >> 1;
    if (states[middle].torque <= torque) low = middle;
    else high = middle;
  }
  const [a, b] = [states[low], states[high]];
  const part = b.torque > a.torque ? (torque - a.torque) / (b.torque - a.torque) : 0;
  const mix = (key) => a[key] + part * (b[key] - a[key]);
  return { torque, current: mix("current"), speed: mix("speed"), power: mix("power"), efficiency: mix("efficiency") };
}

/** Where so many of the values lie: both ends, by linear interpolation of the order statistics. */
function spread(values, level) {
  const sorted = values.toSorted((a, b) => a - b);
  return [0.5 - level / 2, 0.5 + level / 2].map((share) => {
    const place = share * (sorted.length - 1);
    const low = Math.floor(place);
    const next = sorted[Math.min(low + 1, sorted.length - 1)];
    return sorted[low] + (place - low) * (next - sorted[low]);
  });
}

function drawOperating() {
  const motor = data.operating;
  const field = document.getElementById("voltage");
  if (!motor || !field) return;
  const told = document.getElementById("voltage-told");
  const body = document.querySelector("#operating-table tbody");
  let [upper, lower] = [null, null];
  const torque = () => unitSwitch.of("torque");
  const speed = () => unitSwitch.of("speed");
  const unseen = () => {
    const current = shown?.states.find((s) => s.current > (motor.largest_current_a ?? Infinity));
    return current ? current.torque : null;
  };
  let shown = null;
  // Curves of the drawn motors at the voltage shown; none where too few of them turn.
  let possible = [];
  const banded = motor.draws.length > 0;
  const ends = (key, scale) => {
    const values = shown.states.map((s) => possible.length < 20 ? [null, null] : spread(possible.map((curve) => atTorque(curve.states, s.torque)[key] / scale), data.level));
    return [values.map((v) => v[0]), values.map((v) => v[1])];
  };
  const bandColumns = (keys) => (banded ? keys.flatMap(([key, scale]) => ends(key, scale)) : []);
  const hiddenPair = (colour, scale) => (banded ? [1, 2].map(() => ({ hidden: true, invisible: true, ink: colour, scale })) : []);
  const columns = (keys) => [shown.states.map((s) => s.torque / torque().factor), ...keys.map((key) => shown.states.map((s) => (key === "speed" ? s.speed / speed().factor : s[key])))];
  const beyond = (u) => {
    const from = unseen();
    if (from != null) hatch(u, from / torque().factor, u.scales.x.max);
  };
  const rise = (_u, min, max) => [0, max > 0 ? max * 1.05 : 1];
  const range = () => [0, shown.states[shown.states.length - 1].torque / torque().factor];
  const written = (v) => `${plain(v, 4)} ${torque().text}`;

  function update() {
    const voltage = Number(field.value);
    const curve = field.value.trim() === "" ? null : operatingCurve(motor, voltage);
    field.setAttribute("aria-invalid", String(!curve));
    if (!curve) {
      told.textContent = voltage > 0 ? "the motor does not turn at this voltage" : "a voltage above zero is needed";
      return;
    }
    told.textContent = "";
    shown = curve;
    // A point in three is enough for a band.
    shown.states = shown.states.filter((_, k) => k % 3 === 0 || k > shown.states.length - 2);
    possible = motor.draws.map((draw) => operatingCurve(drawn(motor, draw), voltage, 40)).filter(Boolean);
    const upperData = [...columns(["speed", "current"]), ...bandColumns([["speed", speed().factor], ["current", 1]])];
    const lowerData = [...efficiencyInPercent(columns(["efficiency", "power"])), ...bandColumns([["efficiency", 0.01], ["power", 1]])];
    table();
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

  function table() {
    const range = (name, key, scale, digits) => {
      const values = possible.map((curve) => curve.marks.find((m) => m[0] === name)[1][key] / scale);
      if (values.length < 20) return "";
      const [low, high] = spread(values, data.level);
      // Digits enough to tell both ends apart, one more.
      const places = Math.max(digits, high > low ? Math.ceil(Math.log10(Math.abs(high) / (high - low))) + 2 : digits);
      return high > low ? `${plain(Math.max(0, low), places)} to ${plain(high, places)}` : "";
    };
    body.replaceChildren(...shown.marks.map(([name, s]) => {
      const row = document.createElement("tr");
      const head = document.createElement("th");
      head.scope = "row";
      head.textContent = name;
      row.append(head);
      for (const [text, ends] of [
        [`${plain(s.torque / torque().factor, 4)} ${torque().text}`, range(name, "torque", torque().factor, 3)],
        [`${plain(Math.max(0, s.speed) / speed().factor, 4)} ${speed().text}`, range(name, "speed", speed().factor, 3)],
        [`${plain(s.current, 4)} A`, range(name, "current", 1, 3)],
        [`${plain(s.power, 3)} W`, range(name, "power", 1, 3)],
        [`${plain(100 * s.efficiency, 3)} %`, range(name, "efficiency", 0.01, 3)],
      ]) {
        const cell = document.createElement("td");
        cell.textContent = text;
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

function efficiencyInPercent(columns) {
  return [columns[0], columns[1].map((v) => 100 * v), columns[2]];
}
