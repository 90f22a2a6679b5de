// The page of a watched folder in a real browser, with files that arrive as an oscilloscope writes them. PROGRAM names the built program.
import assert from "node:assert/strict";
import { spawn, execFileSync } from "node:child_process";
import { appendFileSync, copyFileSync, mkdtempSync, readFileSync, readdirSync, renameSync, rmSync, writeFileSync } from "node:fs";
import { tmpdir } from "node:os";
import { join, resolve } from "node:path";
import { after, before, test } from "node:test";
import { open, seriousFaults } from "./page.js";

const PROGRAM = resolve(process.env.PROGRAM ?? "target/release/rundown");
const FIXTURES = resolve("fixtures");
const MOTORS = ["camera_slider", "dosing_pump", "floor_scrubber", "telescope_focuser", "ticket_printer"];
const LONG = { timeout: 60_000 };
let browser;

before(async () => {
  browser = await open();
});
after(async () => {
  await browser.close();
});

const pause = (ms) => new Promise((done) => setTimeout(done, ms));

/** The program on a folder; `address` is what it prints. */
async function watch(folder, ...more) {
  const child = spawn(PROGRAM, ["watch", folder, ...more], { stdio: ["ignore", "pipe", "inherit"] });
  const address = await new Promise((found, failed) => {
    let text = "";
    child.stdout.on("data", (piece) => {
      text += piece;
      const line = text.match(/http:\S+/);
      if (line) found(line[0]);
    });
    child.on("exit", () => failed(new Error(`no address: ${text}`)));
  });
  return { child, address, end: () => new Promise((done) => (child.exitCode === null && child.signalCode === null ? child.on("exit", done) && child.kill("SIGINT") : done())) };
}

async function load(address) {
  const page = await browser.context.newPage();
  const faults = [];
  page.on("console", (message) => {
    // A refused change is an answer of the program, and told on the page.
    if (["error", "warning"].includes(message.type()) && !/status of 4\d\d/.test(message.text())) faults.push(`console: ${message.text()}`);
  });
  page.on("pageerror", (error) => faults.push(`error: ${error.message}`));
  page.on("request", (request) => {
    if (!request.url().startsWith(address)) faults.push(`request: ${request.url()}`);
  });
  await page.goto(address);
  return { page, faults };
}

/** Runs a test on a folder of its own with a page open, and requires that the page did nothing it must not. */
async function on(work, files = []) {
  const folder = mkdtempSync(join(tmpdir(), "watched-"));
  for (const [motor, file] of files) copyFileSync(join(FIXTURES, motor, file), join(folder, file));
  const program = await watch(folder);
  const { page, faults } = await load(program.address);
  try {
    await work(page, folder, program);
    assert.deepEqual(faults, []);
  } finally {
    await page.close();
    await program.end();
    rmSync(folder, { recursive: true, force: true });
  }
}

const captures = (motor) => readdirSync(join(FIXTURES, motor)).filter((name) => /\.(csv|gz|tsv|txt)$/.test(name)).sort();
const shot = (page, name) => page.locator(".shot", { has: page.locator(`.name:text-is("${name}")`) });
const fitted = (page) => page.waitForFunction(() => document.body.dataset.busy === "" && document.querySelector("#verdict strong")?.textContent.startsWith("Result"), null, LONG);

/** Writes a file in pieces over two seconds, under another name first when `renamed`. */
async function arrive(from, to, renamed) {
  const bytes = readFileSync(from);
  const path = renamed ? `${to}.part` : to;
  writeFileSync(path, "");
  for (let k = 0; k < 8; k += 1) {
    appendFileSync(path, bytes.subarray(Math.floor((k * bytes.length) / 8), Math.floor(((k + 1) * bytes.length) / 8)));
    await pause(250);
  }
  if (renamed) renameSync(path, to);
}

for (const motor of MOTORS) {
  test(`${motor}: from an empty folder to the motor file with the page alone`, () => on(async (page, folder) => {
    const names = captures(motor);
    for (const [k, name] of names.entries()) {
      if (k < 2) await arrive(join(FIXTURES, motor, name), join(folder, name), k === 1);
      else copyFileSync(join(FIXTURES, motor, name), join(folder, name));
    }
    await page.waitForFunction((count) => document.querySelectorAll(".shot").length >= count, names.length, LONG);
    await page.waitForFunction(() => document.body.dataset.busy === "" && [...document.querySelectorAll(".shot .grade")].every((g) => g.textContent !== "arriving"), null, LONG);
    // What the person at the bench knows of the wiring.
    if (motor === "camera_slider") {
      await page.getByLabel("resistance, Ω").fill("0.05");
      await page.getByLabel("resistance, Ω").press("Enter");
    }
    await page.getByLabel("commutator segments").fill("7");
    await page.getByLabel("commutator segments").press("Enter");
    await fitted(page);
    await page.getByRole("button", { name: "motor file" }).click();
    await page.waitForFunction(() => document.getElementById("outcome").textContent.includes("motor.json"), null, LONG);
    assert.equal(JSON.parse(readFileSync(join(folder, "motor.json"), "utf8")).motor.commutator_segments, 7);
    try {
      execFileSync(PROGRAM, ["fit", "bench.toml", "-o", "by_fit.json"], { cwd: folder, stdio: "ignore" });
    } catch (error) {
      assert.equal(error.status, 1);
    }
    assert.ok(readFileSync(join(folder, "motor.json")).equals(readFileSync(join(folder, "by_fit.json"))));
  }));
}

const START = [["ticket_printer", "t01_start.csv.gz"]];

test("an event is dragged, moved by keys, undone", () => on(async (page, folder) => {
  await fitted(page);
  const sheet = () => readFileSync(join(folder, "bench.toml"), "utf8");
  const mark = page.getByRole("slider", { name: /^switch-on/ });
  await mark.waitFor();
  await page.waitForTimeout(300);
  const box = await mark.boundingBox();
  await page.mouse.move(box.x + box.width / 2, box.y + box.height / 2);
  await page.mouse.down();
  await page.mouse.move(box.x + box.width / 2 + 30, box.y + box.height / 2, { steps: 5 });
  await page.mouse.up();
  await page.waitForFunction(() => document.getElementById("undo").textContent.includes("switch-on"), null, LONG);
  assert.match(sheet(), /events_s\.switch-on = 0\.00\d+/);
  const set = Number(sheet().match(/switch-on = (\S+)/)[1]);
  await page.getByRole("slider", { name: /switch-on.*set by hand/ }).focus();
  await page.keyboard.press("ArrowRight");
  await page.waitForTimeout(1500);
  const moved = Number(sheet().match(/switch-on = (\S+)/)[1]);
  assert.ok(moved > set && moved < set + 0.002, `${set} to ${moved}`);
  await page.getByRole("button", { name: /^undo/ }).click();
  await page.waitForFunction(() => document.getElementById("redo").disabled === false, null, LONG);
  await page.getByRole("button", { name: /^undo/ }).click();
  await page.waitForFunction(() => document.getElementById("undo").disabled, null, LONG);
  assert.doesNotMatch(sheet(), /events_s/);
}, START));

test("an editor saves while the page is open: its change appears, comments stay, a clash is told", () => on(async (page, folder) => {
  await fitted(page);
  const path = join(folder, "bench.toml");
  writeFileSync(path, readFileSync(path, "utf8").replace("[motor]\n", "[motor]\npoles = 4 # counted twice\n"));
  await page.waitForFunction(() => document.querySelector('[data-field="motor/poles"]')?.value === "4", null, LONG);
  // A number is being typed while the editor saves another one.
  await page.getByLabel("poles").fill("2");
  writeFileSync(path, readFileSync(path, "utf8").replace("poles = 4", "poles = 6"));
  await page.waitForTimeout(600);
  assert.equal(await page.getByLabel("poles").inputValue(), "2");
  await page.getByLabel("poles").press("Enter");
  await page.waitForFunction(() => document.getElementById("message").textContent.includes("changed meanwhile"), null, LONG);
  assert.match(readFileSync(path, "utf8"), /poles = 6 # counted twice/);
  await page.waitForFunction(() => document.querySelector('[data-field="motor/poles"]')?.value === "6", null, LONG);
}, START));

test("buttons write pictures, report, brief and exports, and check a datasheet that came later", () => on(async (page, folder) => {
  await page.getByLabel("commutator segments").fill("7");
  await page.getByLabel("commutator segments").press("Enter");
  await fitted(page);
  const outcome = (word) => page.waitForFunction((text) => document.getElementById("outcome").textContent.includes(text), word, LONG);
  for (const [name, word] of [["pictures", "pictures/parameters.svg"], ["report", "report.html"], ["drive brief", "drive.txt"], ["export", "exports/"]]) {
    await page.getByRole("button", { name, exact: true }).click();
    await outcome(word);
  }
  assert.ok(readdirSync(join(folder, "pictures")).filter((name) => name.endsWith(".png")).length > 4);
  writeFileSync(join(folder, "vendor.toml"), '[sheet]\nname = "page"\nnominal_voltage = "24 V"\n[claims]\nterminal_resistance = { value = "9 Ω", tolerance = "5 %" }\n');
  await page.evaluate(() => dispatchEvent(new Event("focus")));
  await page.getByRole("button", { name: "check datasheet" }).click();
  await outcome("disagrees");
  assert.match(readFileSync(join(folder, "exports", "datasheet_check.txt"), "utf8"), /terminal resistance .* disagrees/);
}, [["ticket_printer", "t01_start.csv.gz"], ["ticket_printer", "t02_coast.csv.gz"], ["ticket_printer", "t03_brake.csv.gz"]]));

/** Resident memory of a process, MB. */
const memory = (child) => Number(readFileSync(`/proc/${child.pid}/status`, "utf8").match(/VmRSS:\s+(\d+)/)[1]) / 1024;

test("1000 changes do not let memory grow", () => on(async (page, folder, program) => {
  await fitted(page);
  const path = join(folder, "bench.toml");
  const text = readFileSync(path, "utf8");
  let settled = 0;
  for (let k = 0; k < 1000; k += 1) {
    writeFileSync(path, text.replace("[motor]\n", `[motor]\nnote = "change ${k}"\n`));
    await pause(12);
    // The first hundred fill caches.
    if (k === 100) settled = memory(program.child);
  }
  await fitted(page);
  const growth = memory(program.child) - settled;
  assert.ok(growth < 30, `${growth} MB`);
}, START));

test("a record of 5 million rows is judged while the page answers", () => on(async (page, folder) => {
  await fitted(page);
  const rows = 5_000_000;
  const pieces = ["time (s),U (V),I (A)\n"];
  for (let from = 0; from < rows; from += 100_000) {
    let piece = "";
    for (let k = from; k < from + 100_000; k += 1) {
      const t = (k - 250_000) * 2e-8;
      piece += t < 0 ? `${t.toFixed(8)},0,0\n` : `${t.toFixed(8)},24,${(0.2 + 6 * Math.exp(-t / 0.012) * (1 - Math.exp(-t / 7e-4))).toFixed(3)}\n`;
    }
    pieces.push(piece);
  }
  writeFileSync(join(folder, "long.csv"), pieces.join(""));
  const began = Date.now();
  await page.getByLabel("name", { exact: true }).fill("Still answers");
  await page.getByLabel("name", { exact: true }).press("Enter");
  await page.waitForFunction(() => document.getElementById("motor").textContent === "Still answers", null, LONG);
  await page.waitForFunction(() => [...document.querySelectorAll(".shot")].some((s) => s.textContent.includes("long") && /start/.test(s.textContent) && s.querySelector(".grade")?.textContent !== "arriving"), null, LONG);
  assert.ok(Date.now() - began < 50_000);
}, START));

test("two pages show the same, and one that lost its program says so", () => on(async (page, folder, program) => {
  const { page: second, faults } = await load(program.address);
  await fitted(page);
  await fitted(second);
  await page.getByLabel("name", { exact: true }).fill("Second floor");
  await page.getByLabel("name", { exact: true }).press("Enter");
  await second.waitForFunction(() => document.getElementById("motor").textContent === "Second floor", null, LONG);
  assert.deepEqual(faults, []);
  await second.close();
  const lost = await page.context().newPage();
  await lost.goto(program.address);
  await fitted(lost);
  await page.close();
  program.child.kill("SIGKILL");
  await lost.waitForFunction(() => document.getElementById("message").textContent.includes("does not answer"), null, LONG);
  await lost.close();
  // Started again, everything is there: the sheet is the memory.
  const again = await watch(folder);
  const { page: third } = await load(again.address);
  await third.waitForFunction(() => document.getElementById("motor").textContent === "Second floor", null, LONG);
  await fitted(third);
  await third.close();
  await again.end();
}, START));

test("a faulty file of each kind is shown with a word, as text", () => on(async (page, folder) => {
  const faulty = readdirSync(join(FIXTURES, "faulty")).filter((name) => /\.(csv|txt|gz)$/.test(name));
  assert.ok(faulty.length > 5);
  for (const name of faulty) copyFileSync(join(FIXTURES, "faulty", name), join(folder, name));
  writeFileSync(join(folder, "<img src=x onerror=alert(1)>.csv"), "no capture");
  await page.waitForFunction((count) => document.querySelectorAll(".shot").length >= count, faulty.length, LONG);
  await page.waitForFunction(() => [...document.querySelectorAll(".shot .grade")].every((g) => !["arriving", "waiting", "not in the sheet"].includes(g.textContent)), null, LONG);
  for (const reason of await page.locator(".shot .reason").allTextContents()) assert.ok(reason.length > 5);
  assert.equal(await page.locator("#shot-list img").count(), 0);
}));

for (const scheme of ["light", "dark"]) {
  test(`nothing serious for screen readers, and nothing scrolls sideways at 390 px, ${scheme}`, () => on(async (page) => {
    await page.emulateMedia({ colorScheme: scheme });
    await page.setViewportSize({ width: 390, height: 800 });
    await fitted(page);
    await page.evaluate(() => {
      for (const part of document.querySelectorAll("details")) part.open = true;
    });
    await page.waitForTimeout(800);
    const width = await page.evaluate(() => document.documentElement.scrollWidth);
    assert.ok(width <= 390, `${width} px`);
    assert.deepEqual(await seriousFaults(browser.context, page), []);
  }, START));
}

test("500 files: the list is there, the newest stays within reach", () => on(async (page, folder) => {
  for (let k = 0; k < 500; k += 1) {
    const rows = Array.from({ length: 50 }, (_, i) => `${i * 1e-4},${i > 9 ? 12 : 0},${i > 9 ? (Math.exp(-i / 20) + k * 1e-5).toFixed(5) : 0}`);
    writeFileSync(join(folder, `shot_${String(k).padStart(3, "0")}.csv`), `time (s),U (V),I (A)\n${rows.join("\n")}\n`);
  }
  await page.waitForFunction(() => document.querySelectorAll(".shot").length === 500, null, LONG);
  const began = Date.now();
  await page.getByLabel("name", { exact: true }).fill("Many");
  await page.getByLabel("name", { exact: true }).press("Enter");
  await page.waitForFunction(() => document.getElementById("motor").textContent === "Many", null, LONG);
  assert.ok(Date.now() - began < 30_000);
}));
