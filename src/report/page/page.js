// Draws everything once, and again when width, colours or units change.
for (const article of document.querySelectorAll(".capture")) drawCapture(article);
for (const article of document.querySelectorAll(".ripple")) drawRipple(article);
for (const figure of document.querySelectorAll(".motion")) drawMotion(figure);
for (const figure of document.querySelectorAll(".shaft")) drawShaft(figure);
for (const figure of document.querySelectorAll(".reading-table")) drawTable(figure);
for (const figure of document.querySelectorAll("figure.heat")) drawHeat(figure);
drawOperating();

for (const radio of document.querySelectorAll("#units input")) {
  radio.addEventListener("change", () => {
    if (radio.checked) unitSwitch.set(radio.value);
  });
}

let pending = 0;
addEventListener("resize", () => {
  cancelAnimationFrame(pending);
  pending = requestAnimationFrame(() => resizeAll());
});
// What was folded had no width to be drawn in; for paper the width is set below.
const onPaper = () => document.documentElement.classList.contains("light");
for (const part of document.querySelectorAll("details")) part.addEventListener("toggle", () => onPaper() || resizeAll());
matchMedia("(prefers-color-scheme: dark)").addEventListener("change", redrawAll);

// Paper is white; between its margins a sheet of A4 is 710 px wide, and the grid of the captures gets 800 px of height.
const onScreen = new Map();
addEventListener("beforeprint", () => {
  document.documentElement.classList.add("light");
  const captures = document.querySelectorAll(".capture").length;
  const columns = captures > 4 ? 3 : 2;
  document.documentElement.style.setProperty("--on-paper", columns);
  const height = Math.min(120, Math.max(60, 400 / Math.ceil(captures / columns) - 40));
  for (const { u, host } of charts) {
    onScreen.set(u, u.height);
    u.setSize(host.closest(".capture") ? { width: Math.floor(710 / columns) - 16, height } : { width: 285, height: 175 });
  }
  redrawAll();
});
addEventListener("afterprint", () => {
  document.documentElement.classList.remove("light");
  for (const [u, height] of onScreen) u.setSize({ width: u.width, height });
  onScreen.clear();
  resizeAll();
  redrawAll();
});
