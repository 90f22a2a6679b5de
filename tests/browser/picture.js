// Takes the picture of a report page that the README shows: node picture.js PAGE.html PICTURE.png
import { load, open } from "./page.js";

const [file, picture] = process.argv.slice(2);
const browser = await open({ viewport: { width: 1000, height: 1000 }, colorScheme: "light" });
try {
  const { page, faults } = await load(browser.context, file);
  if (faults.length > 0) throw new Error(faults.join("\n"));
  // From the name of the motor to the end of the first table.
  const from = await page.locator("h1").boundingBox();
  const to = await page.locator("table.answer").first().boundingBox();
  await page.screenshot({ path: picture, fullPage: true, clip: { x: 0, y: from.y - 40, width: 1000, height: to.y + to.height + 20 - (from.y - 40) } });
} finally {
  await browser.close();
}
