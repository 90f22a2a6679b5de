// Ripple spectrum and speed over time.
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
        { label: "its harmonics", ink: "current", scale: "y", unit: "%", points: 9, fill: "paper" },
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

/** Speed over time by a sensor on the shaft. */
function drawShaft(figure) {
  const shaft = data.shaft[Number(figure.dataset.shaft)];
  if (shaft.speed_time_s.length > 2) drawSpeed(`${figure.id}-speed`, shaft, "fitted motor");
}

/** Readings of a table beside the fitted motor. */
function drawTable(figure) {
  const table = data.tables[Number(figure.dataset.table)];
  if (table.x.length < 2) return;
  const write = (v) => `${plain(v, 4)} ${table.x_unit}`;
  drawChart(`${figure.id}-chart`, {
    height: 220,
    x: { unit: "", write, name: `${table.x_name} / ${table.x_unit}` },
    y: [{ scale: "y", unit: "", name: `${table.y_name} / ${table.y_unit}`, ink: "voltage" }],
    data: [table.x, table.read, table.lower, table.upper, table.model],
    series: [
      { label: "reading", ink: "voltage", scale: "y", unit: table.y_unit, read: (v) => v, points: 7, fill: "paper" },
      { hidden: true, invisible: true, ink: "voltage", scale: "y" },
      { hidden: true, invisible: true, ink: "voltage", scale: "y" },
      { label: "fitted motor", ink: "model", style: "dash", scale: "y", unit: table.y_unit, read: (v) => v },
    ],
    bands: [{ series: [3, 2], ink: "voltage-pale" }],
  });
}

/** Temperatures of winding and housing over a heat record. */
function drawHeat(figure) {
  const record = data.heat.records[Number(figure.dataset.heat)];
  const [winding, windingLow, windingHigh, windingSeen] = record.winding_c;
  const [housing, housingLow, housingHigh, housingSeen] = record.housing_c;
  const hidden = (ink) => [1, 2].map(() => ({ hidden: true, invisible: true, ink, scale: "y" }));
  const isThere = (values) => values.some((v) => v != null);
  const dots = (values, label, ink) => (isThere(values) ? [{ label, ink, scale: "y", unit: "°C", points: 4 }] : []);
  drawChart(`${figure.id}-temperature`, {
    height: 260,
    x: { unit: "s" },
    y: [{ scale: "y", unit: "°C" }],
    data: [record.time_s, winding, windingLow, windingHigh, housing, housingLow, housingHigh, ...[windingSeen, housingSeen].filter(isThere)],
    series: [
      { label: "winding", ink: "current", scale: "y", unit: "°C" },
      ...hidden("current"),
      { label: "housing", ink: "voltage", style: "dash", scale: "y", unit: "°C" },
      ...hidden("voltage"),
      ...dots(windingSeen, "winding by its resistance", "current"),
      ...dots(housingSeen, "housing by its sensor", "voltage"),
    ],
    bands: [{ series: [3, 2], ink: "current-pale" }, { series: [6, 5], ink: "voltage-pale" }],
  });
}

function speedData(ripple) {
  const { factor } = unitSwitch.of("speed");
  const turn = (values) => values.map((v) => (v == null ? null : v / factor));
  const model = ripple.model_rad_s?.length ? [turn(ripple.model_rad_s)] : [];
  return [ripple.speed_time_s, turn(ripple.speed_rad_s), turn(ripple.speed_lower_rad_s), turn(ripple.speed_upper_rad_s), ...model];
}

function drawSpeed(id, ripple, model = "by voltage balance") {
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
      ...(ripple.model_rad_s?.length ? [{ label: model, ink: "model", style: "dash", scale: "y", read: (v) => v, unit: "" }] : []),
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
