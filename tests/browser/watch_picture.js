// Takes the picture of the page of a watched folder that the README shows: node watch_picture.js ADDRESS PICTURE.png
import { open } from "./page.js";

const [address, picture] = process.argv.slice(2);
const browser = await open({ viewport: { width: 1360, height: 860 }, colorScheme: "light" });
try {
  const page = await browser.context.newPage();
  await page.goto(address);
  await page.waitForFunction(() => document.body.dataset.busy === "" && document.querySelectorAll("[data-drawn]").length > 0, null, { timeout: 60000 });
  // The shot that says most, and the wiring of the next one.
  await page.evaluate(() => {
    const shots = [...document.querySelectorAll(".shot")];
    for (const shot of shots) shot.open = shot === shots[0];
    document.querySelector(".inside .fields")?.remove();
    const steps = [...document.querySelectorAll(".step")];
    const drawn = steps.find((step) => step.querySelector("img"));
    for (const step of steps) step.open = step === drawn;
  });
  await page.waitForTimeout(1500);
  await page.screenshot({ path: picture });
} finally {
  await browser.close();
}
