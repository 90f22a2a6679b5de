// Opens a report page in Chromium and keeps a record of what it must not do.
import { mkdtempSync, readFileSync, rmSync } from "node:fs";
import { createRequire } from "node:module";
import { tmpdir } from "node:os";
import { join, resolve } from "node:path";
import { pathToFileURL } from "node:url";
import { chromium } from "playwright-core";

const AXE = readFileSync(createRequire(import.meta.url).resolve("axe-core/axe.min.js"), "utf8");
const FLAGS = [
  "--no-sandbox", "--disable-gpu", "--disable-quic", "--no-first-run", "--disable-background-networking",
  "--disable-component-update", "--disable-sync",
];

/** Browser with a profile of its own; `close` removes it. */
export async function open(options = {}) {
  const profile = mkdtempSync(join(tmpdir(), "report-profile-"));
  const context = await chromium.launchPersistentContext(profile, {
    executablePath: process.env.CHROMIUM ?? "/usr/bin/chromium",
    headless: true,
    args: FLAGS,
    viewport: { width: 1100, height: 900 },
    ...options,
  });
  return {
    context,
    async close() {
      await context.close();
      rmSync(profile, { recursive: true, force: true });
    },
  };
}

/** The page, drawn; `faults` collects errors of scripts, messages of the console, and requests beside the page itself. */
export async function load(context, file) {
  const page = await context.newPage();
  const address = pathToFileURL(resolve(file)).href;
  const faults = [];
  page.on("console", (message) => {
    if (["error", "warning"].includes(message.type())) faults.push(`console: ${message.text()}`);
  });
  page.on("pageerror", (error) => faults.push(`error: ${error.message}`));
  page.on("request", (request) => {
    if (request.url().split("#")[0] !== address) faults.push(`request: ${request.url()}`);
  });
  await page.goto(address);
  await page.waitForFunction(() => [...document.querySelectorAll(".chart")].every((c) => c.dataset.drawn === "true"), null, { timeout: 15000 });
  return { page, faults };
}

/** What the accessibility engine finds serious or critical on a page. It is laid in past the page's policy, which would rightly refuse it. */
export async function seriousFaults(context, page) {
  const session = await context.newCDPSession(page);
  await session.send("Runtime.evaluate", { expression: AXE });
  const { result } = await session.send("Runtime.evaluate", {
    expression: "axe.run(document).then((r) => JSON.stringify(r.violations.map((v) => ({ id: v.id, impact: v.impact, nodes: v.nodes.map((n) => n.html.slice(0, 160)).slice(0, 3) }))))",
    awaitPromise: true,
  });
  return JSON.parse(result.value).filter((v) => ["serious", "critical"].includes(v.impact));
}
