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

function speedData(ripple) {
  const { factor } = unitSwitch.of("speed");
  const turn = (values) => values.map((v) => (v == null ? null : v / factor));
  return [ripple.speed_time_s, turn(ripple.speed_rad_s), turn(ripple.speed_lower_rad_s), turn(ripple.speed_upper_rad_s)];
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

/** Curves from no load to stall; null where the motor does not even turn. */
function operatingCurve(motor, voltage) {
  if (!(voltage > 0)) return null;
  const stall = bisect((i) => -stateAt(motor, voltage, i).speed, 0, voltage / motor.terminal_resistance_ohm);
  if (!(stateAt(motor, voltage, stall).torque > 0)) return null;
  const free = bisect((i) => stateAt(motor, voltage, i).torque, 0, stall);
  const count = 240;
  const states = Array.from({ length: count + 1 }, (_, k) => stateAt(motor, voltage, free + ((stall - free) * k) / count));
  // The ends are exact: what the root leaves over is rounding.
  Object.assign(states[0], { torque: 0, power: 0, efficiency: 0 });
  Object.assign(states[count], { speed: 0, power: 0, efficiency: 0 });
  for (const s of states) {
    s.power = Math.max(0, s.power);
    s.efficiency = Math.max(0, s.efficiency);
  }
  const best = (key) => states.reduce((a, b) => (b[key] > a[key] ? b : a));
  return { states, marks: [["no load", states[0]], ["best efficiency", best("efficiency")], ["most power", best("power")], ["stall", states[count]]] };
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
    table();
    if (!upper) {
      upper = drawChart("operating-speed", {
        height: 240,
        whole: range(),
        x: { unit: "", write: written, name: `torque / ${torque().text}` },
        y: [{ scale: "s", unit: "", name: `speed / ${speed().text}`, ink: "voltage", range: rise }, { scale: "i", unit: "A", ink: "current", side: 1, free: true, range: rise }],
        data: columns(["speed", "current"]),
        series: [{ label: "speed", ink: "voltage", scale: "s", unit: "" }, { label: "current", ink: "current", style: "dash", scale: "i", unit: "A" }],
        behind: beyond,
      });
      lower = drawChart("operating-power", {
        height: 220,
        whole: range(),
        x: { unit: "", write: written, name: `torque / ${torque().text}` },
        y: [{ scale: "n", unit: "", name: "efficiency / %", ink: "third", range: () => [0, 100] }, { scale: "p", unit: "W", ink: "model", side: 1, free: true, range: rise }],
        data: efficiencyInPercent(columns(["efficiency", "power"])),
        series: [{ label: "efficiency / %", ink: "third", scale: "n", unit: "" }, { label: "shaft power", ink: "model", style: "dash", scale: "p", unit: "W" }],
        behind: beyond,
      });
      return;
    }
    for (const [u, values] of [[upper, columns(["speed", "current"])], [lower, efficiencyInPercent(columns(["efficiency", "power"]))]]) {
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
    body.replaceChildren(...shown.marks.map(([name, s]) => {
      const row = document.createElement("tr");
      const head = document.createElement("th");
      head.scope = "row";
      head.textContent = name;
      row.append(head);
      for (const text of [
        `${plain(s.torque / torque().factor, 4)} ${torque().text}`,
        `${plain(Math.max(0, s.speed) / speed().factor, 4)} ${speed().text}`,
        engineering(s.current, "A"),
        engineering(s.power, "W", 3),
        `${plain(100 * s.efficiency, 3)} %`,
      ]) {
        const cell = document.createElement("td");
        cell.textContent = text;
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
