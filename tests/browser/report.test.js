// The report page in a real browser. PAGES names the pages, separated by colons; the first one has a start, a run-down with
// ripple, and a back-EMF constant; its data (`--report-data`) lie beside it as .json.
import assert from "node:assert/strict";
import { readFileSync } from "node:fs";
import { after, before, test } from "node:test";
import { load, open, seriousFaults } from "./page.js";

const PAGES = (process.env.PAGES ?? "").split(":").filter(Boolean);
assert.ok(PAGES.length > 0, "PAGES must name at least one page");
const [FIRST] = PAGES;
const DATA = JSON.parse(readFileSync(FIRST.replace(/\.html$/, ".json"), "utf8"));
let browser;

before(async () => {
  browser = await open();
});
after(async () => {
  await browser.close();
});

/** Runs a test on a fresh page and requires that it did nothing it must not. */
async function on(file, work) {
  const { page, faults } = await load(browser.context, file);
  try {
    await work(page);
    assert.deepEqual(faults, []);
  } finally {
    await page.close();
  }
}

/** Share of the pixels of every chart's canvas that are not plain background. */
function inked(page) {
  return page.$$eval(".chart", (hosts) => hosts.map((host) => {
    const canvas = host.querySelector("canvas");
    const { data } = canvas.getContext("2d").getImageData(0, 0, canvas.width, canvas.height);
    let count = 0;
    for (let k = 3; k < data.length; k += 4) if (data[k] > 0) count += 1;
    return { id: host.id, share: count / (data.length / 4) };
  }));
}

const axisOf = (page, id) => page.$eval(`#${id}`, (host) => [Number(host.dataset.from), Number(host.dataset.to)]);

/** The axis ends where it should, to the last digits that arithmetic leaves. */
function sameAxis(found, expected) {
  const span = expected[1] - expected[0];
  found.forEach((end, k) => assert.ok(Math.abs(end - expected[k]) < 1e-9 * span, `${found}, expected ${expected}`));
}

/** First number of a text; a power of ten behind it counts. */
function number(text) {
  const plain = text.replaceAll("\u2212", "-").replace("(", "");
  const value = Number.parseFloat(plain);
  const power = plain.match(/× 10([⁻⁰¹²³⁴⁵⁶⁷⁸⁹]+)/);
  if (!power) return value;
  const digits = [...power[1]].map((c) => ({ "⁻": "-" })[c] ?? "⁰¹²³⁴⁵⁶⁷⁸⁹".indexOf(c)).join("");
  return value * 10 ** Number(digits);
}

/** Charts that the data hold are in the page: a picture that fell away would not fail to draw. */
function expectedCharts(page) {
  return page.evaluate(() => {
    const { captures, ripple, motion, operating } = JSON.parse(document.getElementById("data").textContent);
    const ids = operating ? ["operating-speed", "operating-power"] : [];
    captures.forEach((c, k) => {
      if (c.trace.voltage_v) ids.push(`capture-${k}-voltage`);
      if (c.trace.current_a) ids.push(`capture-${k}-current`);
      if (c.voltage_model || c.current_model) ids.push(`capture-${k}-residual`);
      if (c.inset) ids.push(`capture-${k}-inset`);
      if (c.autocorrelation.length > 0) ids.push(`capture-${k}-autocorrelation`);
    });
    ripple.forEach((r, k) => {
      ids.push(`ripple-${k}-spectrum`);
      if (r.speed_rad_s.length > 0) ids.push(`ripple-${k}-speed`);
    });
    motion.forEach((m, k) => {
      if (m.speed_rad_s.length > 2) ids.push(`motion-${k}-speed`);
    });
    return ids.sort();
  });
}

for (const file of PAGES) {
  const name = file.split("/").pop();

  test(`${name}: every chart draws, without a message and without a request`, () => on(file, async (page) => {
    await page.$$eval("details", (list) => list.forEach((part) => { part.open = true; }));
    await page.waitForTimeout(200);
    const charts = await inked(page);
    assert.ok(charts.length >= 4, `${charts.length} charts`);
    assert.deepEqual(charts.map((c) => c.id).sort(), await expectedCharts(page));
    for (const { id, share } of charts) assert.ok(share > 0.004, `${id}: ${share}`);
  }));

  test(`${name}: opened and drawn within a second`, () => on(file, async (page) => {
    const took = await page.evaluate(() => performance.getEntriesByType("navigation")[0].loadEventEnd);
    assert.ok(took > 0 && took < 1000, `${took} ms`);
  }));

  for (const scheme of ["light", "dark"]) {
    test(`${name}: the accessibility engine finds nothing serious in ${scheme} colours`, () => on(file, async (page) => {
      await page.emulateMedia({ colorScheme: scheme });
      assert.deepEqual(await seriousFaults(browser.context, page), []);
    }));
  }

  test(`${name}: nothing scrolls sideways at 360 px`, () => on(file, async (page) => {
    await page.setViewportSize({ width: 360, height: 780 });
    await page.waitForTimeout(300);
    const width = await page.evaluate(() => document.documentElement.scrollWidth);
    assert.ok(width <= 360, `${width} px`);
    const wide = await page.$$eval(".chart canvas", (list) => list.filter((c) => c.getBoundingClientRect().right > 361).length);
    assert.equal(wide, 0);
  }));
}

test("the buttons zoom and move the time axis of all charts of a capture", () => on(FIRST, async (page) => {
  const tools = page.locator("#capture-0 .tools");
  const before = await axisOf(page, "capture-0-current");
  await tools.getByRole("button", { name: "zoom in" }).click();
  await page.waitForTimeout(100);
  const zoomed = await axisOf(page, "capture-0-current");
  assert.ok(Math.abs((zoomed[1] - zoomed[0]) / (before[1] - before[0]) - 0.5) < 1e-6, `${before} ${zoomed}`);
  assert.deepEqual(await axisOf(page, "capture-0-voltage"), zoomed);
  assert.deepEqual(await axisOf(page, "capture-0-residual"), zoomed);
  await tools.getByRole("button", { name: "later" }).click();
  await page.waitForTimeout(100);
  const moved = await axisOf(page, "capture-0-current");
  assert.ok(moved[0] > zoomed[0] && Math.abs(moved[1] - moved[0] - (zoomed[1] - zoomed[0])) < 1e-9);
  await tools.getByRole("button", { name: "whole record" }).click();
  await page.waitForTimeout(100);
  sameAxis(await axisOf(page, "capture-0-current"), before);
}));

test("dragging zooms to what was dragged over, keys zoom as the buttons do", () => on(FIRST, async (page) => {
  const over = page.locator("#capture-0-current .u-over");
  await over.scrollIntoViewIfNeeded();
  const before = await axisOf(page, "capture-0-current");
  const box = await over.boundingBox();
  await page.mouse.move(box.x + box.width * 0.25, box.y + 60);
  await page.mouse.down();
  await page.mouse.move(box.x + box.width * 0.5, box.y + 60, { steps: 5 });
  await page.mouse.up();
  await page.waitForTimeout(100);
  const dragged = await axisOf(page, "capture-0-current");
  const at = (share) => before[0] + share * (before[1] - before[0]);
  const pixel = (before[1] - before[0]) / box.width;
  assert.ok(Math.abs(dragged[0] - at(0.25)) < 2 * pixel && Math.abs(dragged[1] - at(0.5)) < 2 * pixel, `${dragged}`);
  await page.locator("#capture-0-current").focus();
  await page.keyboard.press("+");
  await page.waitForTimeout(100);
  const keyed = await axisOf(page, "capture-0-current");
  assert.ok(Math.abs((keyed[1] - keyed[0]) / (dragged[1] - dragged[0]) - 0.5) < 1e-6);
  await page.keyboard.press("0");
  await page.waitForTimeout(100);
  sameAxis(await axisOf(page, "capture-0-current"), before);
}));

test("the cursor's values are those of the data", () => on(FIRST, async (page) => {
  const over = page.locator("#capture-0-current .u-over");
  await over.scrollIntoViewIfNeeded();
  const box = await over.boundingBox();
  await page.mouse.move(box.x + box.width * 0.6, box.y + 60);
  await page.waitForTimeout(100);
  const told = await page.locator("#capture-0-current .legend output").first().textContent();
  const expected = await page.evaluate(() => {
    const capture = JSON.parse(document.getElementById("data").textContent).captures[0];
    const host = document.getElementById("capture-0-current");
    const wanted = Number(host.dataset.from) + 0.6 * (host.dataset.to - host.dataset.from);
    let best = 0;
    capture.trace.time_s.forEach((t, k) => {
      if (Math.abs(t - wanted) < Math.abs(capture.trace.time_s[best] - wanted)) best = k;
    });
    return capture.trace.current_a.mean.slice(Math.max(0, best - 2), best + 3);
  });
  const unit = { m: 1e-3, µ: 1e-6, n: 1e-9 }[told.split("\u202f")[1][0]] ?? 1;
  const value = number(told) * unit;
  assert.ok(expected.some((e) => Math.abs(e - value) <= 2e-3 * Math.abs(e) + 1e-9), `${told}: ${expected}`);
}));

test("the unit switch changes the numbers by the factor of the units", () => on(FIRST, async (page) => {
  assert.ok(await page.locator("#p-back_emf_constant td .trade").first().isVisible());
  await page.getByLabel("SI", { exact: true }).check();
  const cell = page.locator("#p-back_emf_constant td").first();
  const si = (await cell.locator(".si").textContent()).trim();
  assert.ok(si.endsWith("V·s/rad"), si);
  const noLoad = () => page.locator("#operating-table tbody tr").first().locator("td").nth(1).evaluate((c) => c.firstChild.textContent);
  const radians = await noLoad();
  assert.ok(radians.endsWith("rad/s"), radians);
  assert.ok(await cell.locator(".si").isVisible() && !(await cell.locator(".trade").isVisible()));
  await page.getByLabel("common units").check();
  assert.ok(await cell.locator(".trade").isVisible() && !(await cell.locator(".si").isVisible()));
  const trade = await cell.locator(".trade").textContent();
  assert.ok(trade.endsWith("mN·m/A"), trade);
  // 1 mN·m/A = 0.001 V·s/rad, exactly; three digits are shown.
  assert.ok(Math.abs(number(trade) * 1e-3 / number(si) - 1) < 5e-3, `${si} ${trade}`);
  const turns = await noLoad();
  assert.ok(turns.endsWith("rpm"), turns);
  assert.ok(Math.abs(number(turns) * 2 * Math.PI / 60 / number(radians) - 1) < 2e-3, `${radians} ${turns}`);
  assert.match(await page.locator("#operating-table tbody tr").last().locator("td").first().evaluate((c) => c.firstChild.textContent), /mN·m$/);
}));

test("the voltage field changes the torque-speed chart as the motor's equations say", () => on(FIRST, async (page) => {
  await page.getByLabel("SI", { exact: true }).check();
  const motor = DATA.operating;
  const row = (k) => page.$$eval("#operating-table tbody tr", (rows, k) => [...rows[k].querySelectorAll("td")].map((c) => c.firstChild.textContent), k);
  const scale = (text) => ({ m: 1e-3, µ: 1e-6, k: 1e3 })[text.split("\u202f")[1]?.[0]] ?? 1;
  const before = await axisOf(page, "operating-speed");
  const picture = () => page.$eval("#operating-speed canvas", (c) => c.toDataURL());
  const drawn = await picture();
  for (const voltage of [motor.voltage_v, motor.voltage_v / 2]) {
    await page.fill("#voltage", String(voltage));
    await page.waitForTimeout(150);
    const stall = await row(3);
    const current = number(stall[2]) * scale(stall[2]);
    const drop = motor.brush_drop_v * Math.tanh(current / motor.brush_scale_a);
    // At standstill the whole voltage falls across resistance and brushes.
    assert.ok(Math.abs(motor.terminal_resistance_ohm * current + drop - voltage) < 2e-3 * voltage, stall.join(" "));
    const free = await row(0);
    const idle = number(free[2]) * scale(free[2]);
    const emf = voltage - motor.terminal_resistance_ohm * idle - motor.brush_drop_v * Math.tanh(idle / motor.brush_scale_a);
    const speed = emf / motor.back_emf_constant_v_s_per_rad / (1 - motor.armature_reaction_per_a * idle);
    assert.ok(Math.abs(number(free[1]) / speed - 1) < 2e-3, free.join(" "));
    // Without load all torque is friction.
    const drag = motor.coulomb_friction_nm + motor.viscous_friction_nm_s_per_rad * speed + motor.windage_nm_s2_per_rad2 * speed ** 2;
    const torque = motor.back_emf_constant_v_s_per_rad * idle * (1 - motor.armature_reaction_per_a * idle);
    assert.ok(Math.abs(torque / drag - 1) < 5e-3, `${torque} ${drag}`);
  }
  const after = await axisOf(page, "operating-speed");
  assert.ok(after[1] < 0.6 * before[1] && after[1] > 0.3 * before[1], `${before} ${after}`);
  assert.notEqual(await picture(), drawn);
  await page.fill("#voltage", "0");
  assert.match(await page.textContent("#voltage-told"), /above zero/);
}));

test("the ranges beside the torque-speed chart are those of the drawn motors", () => on(FIRST, async (page) => {
  const { operating: motor, level } = DATA;
  assert.equal(motor.draws.length, 200);
  // At standstill i = (U - V_b)/R, as the brush drop is saturated there; the order statistics of that in closed form.
  const currents = motor.draws.map(([r, , , , , drop]) => (motor.voltage_v - drop) / r).sort((a, b) => a - b);
  const at = (share) => currents[Math.round(share * (currents.length - 1))];
  const told = await page.$eval("#operating-table tbody tr:last-child td:nth-of-type(3) .spread", (c) => c.textContent);
  const [low, high] = told.split(" to ").map(Number);
  assert.ok(Math.abs(low / at(0.5 - level / 2) - 1) < 5e-3 && Math.abs(high / at(0.5 + level / 2) - 1) < 5e-3, `${told}: ${at(0.5 - level / 2)} ${at(0.5 + level / 2)}`);
  // Every value lies within its own range.
  for (const [value, range] of await page.$$eval("#operating-table td:has(.spread)", (cells) => cells.map((c) => [c.firstChild.textContent, c.querySelector(".spread").textContent]))) {
    const [from, to] = range.split(" to ").map(Number);
    assert.ok(number(value) >= from && number(value) <= to, `${value}: ${range}`);
  }
  await page.fill("#voltage", String(motor.voltage_v / 2));
  await page.waitForTimeout(150);
  const half = await page.$eval("#operating-table tbody tr:last-child td:nth-of-type(3) .spread", (c) => c.textContent);
  assert.ok(Number(half.split(" to ")[1]) < 0.6 * high, half);
}));

test("every control is reached by the keyboard", () => on(FIRST, async (page) => {
  const wanted = await page.$$eval("button, input, a[href], summary, .chart", (all) => all.filter((e) => e.checkVisibility()).length);
  const reached = new Set();
  for (let k = 0; k < wanted + 20; k += 1) {
    await page.keyboard.press("Tab");
    reached.add(await page.evaluate(() => {
      const all = [...document.querySelectorAll("button, input, a[href], summary, .chart")];
      return all.indexOf(document.activeElement);
    }));
  }
  reached.delete(-1);
  // Of a group of radio buttons the keyboard reaches one, the arrows the other.
  assert.equal(reached.size, wanted - 1);
}));

test("print: the colours are those of paper and nothing is cut off", () => on(FIRST, async (page) => {
  await page.emulateMedia({ colorScheme: "dark" });
  await page.evaluate(() => dispatchEvent(new Event("beforeprint")));
  assert.equal(await page.evaluate(() => getComputedStyle(document.body).color), "rgb(28, 31, 34)");
  assert.ok((await page.$$eval(".chart canvas", (list) => Math.max(...list.map((c) => c.getBoundingClientRect().width)))) <= 340);
  await page.evaluate(() => dispatchEvent(new Event("afterprint")));
  assert.notEqual(await page.evaluate(() => getComputedStyle(document.body).color), "rgb(28, 31, 34)");
}));

for (const file of [...PAGES, ...(process.env.PRINTS ?? "").split(":").filter(Boolean)]) {
  test(`${file.split("/").pop()}: prints on two pages with answer, evidence and captures`, () => on(file, async (page) => {
    const pdf = (await page.pdf({ preferCSSPageSize: true })).toString("latin1");
    assert.ok(pdf.match(/\/Type\s*\/Page\b/g).length <= 2);
    await page.emulateMedia({ media: "print" });
    for (const shown of ["#answer", "#evidence", ".capture"]) {
      if (await page.$(shown)) assert.ok(await page.$eval(shown, (part) => part.checkVisibility()), shown);
    }
    assert.equal(await page.$$eval("details", (list) => list.filter((part) => part.checkVisibility()).length), 0);
    await page.emulateMedia({ media: "screen" });
  }));
}
