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

// Paper is white and as wide as a page of A4 between its margins; folded parts are laid open.
const folded = [];
addEventListener("beforeprint", () => {
  document.documentElement.classList.add("light");
  for (const part of document.querySelectorAll("details:not([open])")) {
    part.open = true;
    folded.push(part);
  }
  for (const { u, host } of charts) {
    const narrow = host.closest(".pair") && host.closest(".pair").children.length > 1;
    u.setSize({ width: narrow ? 320 : 670, height: u.height });
  }
  redrawAll();
});
addEventListener("afterprint", () => {
  document.documentElement.classList.remove("light");
  for (const part of folded.splice(0)) part.open = false;
  resizeAll();
  redrawAll();
});
