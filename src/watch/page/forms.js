// The sheet as a form: every field is one key of bench.toml. A field says what the key held, so that nothing an editor wrote is lost.
function field(label, at, was, input, what, read) {
  input.dataset.field = at.join("/");
  input.disabled = readOnly;
  input.addEventListener("input", () => {
    input.dataset.typing = "true";
  });
  input.addEventListener("focusout", () => {
    delete input.dataset.typing;
    queueMicrotask(() => show(current));
  });
  input.addEventListener("change", async () => {
    delete input.dataset.typing;
    const value = read(input);
    if (value === undefined) {
      input.setAttribute("aria-invalid", "true");
      say(`${label}: this is no number`);
      return;
    }
    input.removeAttribute("aria-invalid");
    const ok = await change(what, [{ at, was: was ?? null, value }]);
    if (!ok) {
      input.setAttribute("aria-invalid", "true");
      say(`${document.getElementById("message").textContent} (${label}: "${input.value}" was typed)`);
      show(current);
    }
  });
  return make("label", {}, label, input);
}

function text(label, at, was, what) {
  const input = make("input", { type: "text", autocomplete: "off" });
  const list = Array.isArray(was);
  input.value = list ? was.join(", ") : was ?? "";
  return field(label, at, was, input, what, (i) => {
    const typed = i.value.trim();
    if (typed === "") return null;
    return list || typed.includes(",") ? typed.split(",").map((part) => part.trim()).filter(Boolean) : typed;
  });
}

/** A decimal comma is read too. */
function readNumber(typed) {
  const plain = typed.trim().replace(",", ".").replace(MINUS, "-");
  if (plain === "") return null;
  const value = Number(plain);
  return Number.isFinite(value) ? value : undefined;
}

function number(label, at, was, what) {
  const input = make("input", { type: "text", inputmode: "decimal", autocomplete: "off" });
  input.value = was ?? "";
  return field(label, at, was, input, what, (i) => readNumber(i.value));
}

function numbers(label, at, was, what) {
  const input = make("input", { type: "text", autocomplete: "off" });
  input.value = (was ?? []).join(" ");
  return field(label, at, was, input, what, (i) => {
    const parts = i.value.split(/[\s;]+/).filter(Boolean).map(readNumber);
    if (parts.includes(undefined)) return undefined;
    return parts.length ? parts : null;
  });
}

function choice(label, at, was, options, what) {
  const known = options.includes(was) || was === undefined || was === null ? options : [was, ...options];
  const input = make("select", {}, was === undefined || was === null ? make("option", { value: "" }, "–") : "", ...known.map((option) => make("option", { value: option }, String(option))));
  input.value = was ?? "";
  return field(label, at, was, input, what, (i) => (i.value === "" ? null : typeof options[0] === "number" ? Number(i.value) : i.value));
}

function tick(label, at, on, what, valueOf = (checked) => (checked ? true : null), was = on) {
  const input = make("input", { type: "checkbox" });
  input.checked = on === true;
  const host = field("", at, was, input, what, (i) => valueOf(i.checked));
  host.className = "tick";
  host.append(" " + label);
  return host;
}

/** A value in one of its units, with its accuracy: the keys that are there, or those usually typed. */
function quantity(label, at, was, keys, what) {
  const found = Object.entries(was ?? {});
  const shown = found.length ? found : keys.map((key) => [key, undefined]);
  if (found.length) {
    return shown.map(([key, value]) => number(`${label}: ${unitWords(key)}`, [...at, key], value, what));
  }
  // A new quantity is written in one piece, with its accuracy.
  const inputs = keys.map((key) => {
    const input = make("input", { type: "text", inputmode: "decimal", autocomplete: "off" });
    input.dataset.field = [...at, key].join("/");
    input.disabled = readOnly;
    return [key, input];
  });
  const send = () => {
    const values = inputs.map(([key, input]) => [key, readNumber(input.value)]);
    if (values.some(([, value]) => value === undefined)) return say(`${label}: this is no number`);
    if (values[0][1] === null || (keys.length > 1 && values.slice(1).every(([, value]) => value === null))) return undefined;
    return change(what, [{ at, was: null, value: Object.fromEntries(values.filter(([, value]) => value !== null)) }]);
  };
  return inputs.map(([key, input]) => {
    input.addEventListener("change", send);
    return make("label", {}, `${label}: ${unitWords(key)}`, input);
  });
}

const UNIT_WORDS = { v: "V", mv: "mV", a: "A", ma: "mA", ohm: "Ω", milliohm: "mΩ", mh: "mH", uh: "µH", h: "H", rpm: "rpm", rad_s: "rad/s", c: "°C", k: "K", percent: "%", ppm: "ppm", divisions: "div", full_scale_percent: "% of full scale", hz: "Hz", khz: "kHz", n_m: "N·m", mn_m: "mN·m", g_cm2: "g·cm²", kg_m2: "kg·m²" };
function unitWords(key) {
  for (const [start, word] of [["limit_", "± "], ["half_width_", "± "], ["coverage_95_", "± (95 %) "], ["standard_", "σ "]]) {
    if (key.startsWith(start)) return word + (UNIT_WORDS[key.slice(start.length)] ?? key.slice(start.length));
  }
  return UNIT_WORDS[key] ?? key;
}

function showForms(state) {
  const { sheet } = state;
  rebuild("facts-form", [sheet?.motor, sheet?.supply, !!sheet], () => factsForm(sheet));
  rebuild("readings", [sheet?.readings, (sheet?.captures ?? []).map((c) => c.name ?? c.file)], () => readingsForm(sheet));
  rebuild("instruments", sheet?.instruments, () => Object.entries(sheet?.instruments ?? {}).map(([name, table]) => instrumentForm(name, table)));
  rebuild("channels", sheet?.channels, () => Object.entries(sheet?.channels ?? {}).map(([name, table]) => channelForm(name, table)));
  document.getElementById("hardware").hidden = !sheet?.instruments && !sheet?.channels;
}

const built = new Map();
/** Builds a part anew when what it shows has changed, and keeps the focus where it was. */
function rebuild(id, key, parts) {
  const text = JSON.stringify(key ?? null);
  if (built.get(id) === text) return;
  built.set(id, text);
  const host = document.getElementById(id);
  const active = host.contains(document.activeElement) ? document.activeElement : null;
  // What is being typed stays until it is sent or left.
  if (active?.dataset.typing) {
    built.delete(id);
    return;
  }
  const focused = active?.dataset.field;
  host.replaceChildren(...parts());
  if (focused) host.querySelector(`[data-field="${CSS.escape(focused)}"]`)?.focus();
}

function factsForm(sheet) {
  if (!sheet) {
    const input = make("input", { type: "text", autocomplete: "off", disabled: readOnly });
    input.addEventListener("change", () => input.value.trim() && change("name of the motor", [{ at: ["motor", "name"], was: null, value: input.value.trim() }]));
    return [make("div", { class: "fields" }, make("label", {}, "name of the motor", input)), make("p", { class: "note" }, "The sheet, bench.toml, begins with the name or with the first capture.")];
  }
  const motor = sheet.motor ?? {};
  const at = (key) => ["motor", key];
  return [make("div", { class: "fields" },
    text("name", at("name"), motor.name, "name of the motor"),
    number("commutator segments", at("commutator_segments"), motor.commutator_segments, "commutator segments"),
    number("poles", at("poles"), motor.poles, "poles"),
    choice("brushes", at("brushes"), motor.brushes, ["carbon", "metal-carbon", "metal"], "brushes"),
    choice("magnets", at("magnets"), motor.magnets, ["ferrite", "neodymium", "samarium-cobalt"], "magnets"),
    number("room, °C", at("room_temperature_c"), motor.room_temperature_c, "room temperature"),
    ...quantity("winding", at("winding_temperature"), motor.winding_temperature, ["c", "limit_k"], "winding temperature"),
    ...quantity("supply", ["supply", "voltage"], sheet.supply?.voltage, ["v", "limit_percent"], "supply voltage"),
    number("current limit, A", ["supply", "current_limit_a"], sheet.supply?.current_limit_a, "current limit"),
  )];
}

function readingsForm(sheet) {
  if (!sheet) return [make("p", { class: "note" }, "Readings can be typed once the sheet is there.")];
  const readings = sheet.readings ?? [];
  const names = (sheet.captures ?? []).map((c) => c.name ?? String(c.file).replace(/\.[^.]*$/, ""));
  const parts = readings.map((reading, k) => readingForm(reading, k, names));
  if (!readOnly) parts.push(...newReadings(readings.length, names));
  return parts;
}

function readingForm(reading, k, names) {
  const at = (...keys) => ["readings", k, ...keys];
  const what = `reading ${k + 1}`;
  const fields = [];
  for (const [key, value] of Object.entries(reading)) {
    if (key === "kind" || key === "note") continue;
    if (key === "capture") fields.push(choice("read in", at(key), value, names, what));
    else if (typeof value === "number") fields.push(number(words(key), at(key), value, what));
    else if (Array.isArray(value)) fields.push(numbers(words(key), at(key), value, what));
    else if (typeof value === "object") fields.push(...quantity(words(key), at(key), value, [], what));
    else fields.push(text(words(key), at(key), value, what));
  }
  const remove = make("button", { type: "button", disabled: readOnly, "aria-label": `remove ${reading.kind}, ${what}`, onclick: () => change(`remove ${what}`, [{ at: at(), was: reading, value: null }]) }, "remove");
  return make("fieldset", {}, make("legend", {}, reading.kind), make("div", { class: "fields" }, ...fields), remove);
}

function words(key) {
  return key.replace(/_ohm$/, ", Ω").replace(/_hz$/, ", Hz").replaceAll("_", " ");
}

/** New readings are sent whole: a kind, its value, its accuracy. */
function newReadings(count, names) {
  const parts = [];
  const form = (title, inputs, read) => {
    const fields = inputs.map(([label, input]) => make("label", {}, label, input));
    const add = make("button", { type: "button", onclick: () => {
      const value = read();
      if (typeof value === "string") say(value);
      else change(`add ${title}`, [{ at: ["readings", count], was: null, value }]);
    } }, "add");
    parts.push(make("details", { class: "new-reading" }, make("summary", {}, `add: ${title}`), make("div", { class: "fields" }, ...fields), add));
  };
  const input = (value = "") => {
    const element = make("input", { type: "text", inputmode: "decimal", autocomplete: "off" });
    element.value = value;
    return element;
  };
  const ohms = input();
  const meter = input("1");
  const leads = input();
  form("ohmmeter", [["readings over rotor positions, Ω", ohms], ["meter, ± %", meter], ["leads, Ω", leads]], () => {
    const values = ohms.value.split(/[\s;]+/).filter(Boolean).map(readNumber);
    const [accuracy, lead] = [readNumber(meter.value), readNumber(leads.value)];
    if (values.length === 0 || values.includes(undefined) || !accuracy || lead === undefined) return "ohmmeter: type the readings with blanks between them, and the accuracy of the meter";
    return { kind: "ohmmeter", readings_ohm: values, accuracy: { limit_percent: accuracy }, ...(lead === null ? {} : { leads: { ohm: lead, limit_ohm: Number((0.1 * lead + 0.005).toPrecision(2)) } }) };
  });
  const speed = input();
  const percent = input("0.1");
  const capture = make("select", {}, ...names.map((name) => make("option", { value: name }, name)));
  form("tachometer", [["speed, rpm", speed], ["± %", percent], ["read in", capture]], () => {
    const [rpm, share] = [readNumber(speed.value), readNumber(percent.value)];
    if (!rpm || !share) return "tachometer: type the speed and its accuracy";
    if (!capture.value) return "tachometer: there is no capture yet that shows the state";
    return { kind: "tachometer", speed: { rpm, limit_percent: share, limit_rpm: 1 }, capture: capture.value };
  });
  const henry = input();
  const accuracyL = input("2");
  const frequency = input("1000");
  form("inductance-meter", [["inductance, mH", henry], ["± %", accuracyL], ["frequency, Hz", frequency]], () => {
    const [mh, share, hz] = [henry, accuracyL, frequency].map((i) => readNumber(i.value));
    if (!mh || !share || !hz) return "inductance meter: type inductance, accuracy and test frequency";
    return { kind: "inductance-meter", inductance: { mh, limit_percent: share }, frequency_hz: hz };
  });
  return parts;
}

function instrumentForm(name, table) {
  const at = (...keys) => ["instruments", name, ...keys];
  const what = `instrument ${name}`;
  const offered = { oscilloscope: { gain: ["limit_percent"], zero: ["limit_divisions"] }, "voltage-probe": { gain: ["limit_percent"] }, "current-probe": { gain: ["limit_percent"], zero: ["limit_ma"] }, shunt: { tolerance: ["limit_percent"] } }[table.kind] ?? {};
  const fields = [];
  if (table.kind === "shunt") fields.push(number("resistance, Ω", at("resistance_ohm"), table.resistance_ohm, what));
  if (table.kind === "oscilloscope") fields.push(number("bits", at("bits"), table.bits, what));
  if (table.kind !== "oscilloscope" || table.bandwidth_hz) fields.push(number("bandwidth, Hz", at("bandwidth_hz"), table.bandwidth_hz, what));
  const keys = new Set([...Object.keys(offered), ...Object.keys(table).filter((key) => typeof table[key] === "object")]);
  for (const key of keys) fields.push(...quantity(words(key), at(key), table[key], offered[key] ?? [], what));
  return make("fieldset", {}, make("legend", {}, `${name} (${table.kind})`), make("div", { class: "fields" }, ...fields));
}

function channelForm(name, table) {
  const at = (...keys) => ["channels", name, ...keys];
  const what = `channel ${name}`;
  return make("fieldset", {}, make("legend", {}, `${name} (${table.measures})`), make("div", { class: "fields" },
    text("column", at("column"), table.column, what),
    number("scale", at("scale"), table.scale, what),
    number("a division", at("per_division"), table.per_division, what),
    tick("reversed", at("reversed"), table.reversed, what),
    table.measures === "current" ? tick("raw volts across the shunt", at("raw_volts"), table.raw_volts, what) : "",
  ));
}
