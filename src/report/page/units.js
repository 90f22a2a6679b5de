// Numbers as a person writes them, and the units of the switch.
const data = JSON.parse(document.getElementById("data").textContent);
const PREFIXES = { "-12": "p", "-9": "n", "-6": "µ", "-3": "m", "0": "", "3": "k", "6": "M" };
const MINUS = "\u2212";

/** Power of ten, a multiple of three, that suits a size. */
function exponentFor(size) {
  if (!(size > 0)) return 0;
  return Math.max(-12, Math.min(6, 3 * Math.floor(Math.log10(size * 1.0000001) / 3)));
}

function withMinus(text) {
  return text.replace("-", MINUS);
}

/** A number with its unit and an engineering prefix, to so many significant digits. */
function engineering(value, unit, digits = 4) {
  if (value == null || !Number.isFinite(value)) return "–";
  if (value === 0) return "0 " + unit;
  const exponent = exponentFor(Math.abs(value));
  return withMinus(plain(value / 10 ** exponent, digits)) + "\u202f" + PREFIXES[exponent] + unit;
}

/** Significant digits without an exponent. */
function plain(value, digits = 4) {
  if (value == null || !Number.isFinite(value)) return "–";
  if (value === 0) return "0";
  const places = Math.max(0, Math.min(12, digits - 1 - Math.floor(Math.log10(Math.abs(value)))));
  return withMinus(value.toFixed(places));
}

/** Labels of the ticks of an axis, all with one prefix. */
function tickLabels(splits, increment, unit) {
  const largest = splits.reduce((most, v) => Math.max(most, Math.abs(v ?? 0)), 0);
  const exponent = unit === "" || unit === "%" ? 0 : exponentFor(largest);
  const step = increment / 10 ** exponent;
  const places = Math.max(0, Math.min(9, Math.ceil(-Math.log10(step) - 1e-6) + (Number.isInteger(Math.round(step * 1e9) / 10 ** Math.floor(9 + Math.log10(step) + 1e-9)) ? 0 : 1)));
  return splits.map((v) => v == null ? "" : withMinus((v / 10 ** exponent).toFixed(places)) + (unit ? "\u202f" + PREFIXES[exponent] + unit : ""));
}

const unitSwitch = {
  system: "trade",
  listeners: [],
  /** Text of the unit of a quantity, and the SI value of one. */
  of(quantity) {
    const [si, trade, factor] = data.units[quantity];
    return this.system === "trade" ? { text: trade, factor } : { text: si, factor: 1 };
  },
  set(system) {
    this.system = system;
    for (const span of document.querySelectorAll(".answer .si")) span.hidden = system !== "si";
    for (const span of document.querySelectorAll(".answer .trade")) span.hidden = system !== "trade";
    for (const listener of this.listeners) listener();
  },
};
