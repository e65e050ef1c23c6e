// One control, made from its part of the JSON Schema: a number with its slider, a switch, a word, a colour, a text.
import { send, gesture, gestureEnds } from "./wire.js";

let ids = 0;

function make(name, more = {}, ...inside) {
  const made = document.createElement(name);
  for (const [key, value] of Object.entries(more)) {
    if (key in made && key !== "list") made[key] = value;
    else made.setAttribute(key, value);
  }
  made.append(...inside);
  return made;
}

/** A number as it is, but for what arithmetic leaves in its last digits. */
export function short(number) {
  if (typeof number !== "number") return String(number);
  return String(Number(number.toPrecision(15)));
}

/** Any value in words. */
export function words(value) {
  if (value === null || value === undefined || value === "") return "not set";
  if (value === true) return "yes";
  if (value === false) return "no";
  if (Array.isArray(value)) return value.map(short).join(" x ");
  return typeof value === "number" ? short(value) : value;
}

/** The kinds that a part of the schema allows. */
function kinds(schema) {
  return schema.anyOf ?? [schema];
}

/** Maps a slider's position (0 to 1) to a number: linearly over a narrow range, by ratio over a wide one, around the value over an endless one. */
function scaleOf({ minimum: min, maximum: max }, whole) {
  const ratio = (from, to) => ({ at: (t) => from * (to / from) ** t, of: (v) => Math.log(Math.max(v, from) / from) / Math.log(to / from) });
  const even = (from, to) => ({ at: (t) => from + (to - from) * t, of: (v) => (v - from) / (to - from) });
  if (max - min <= 1000 || (whole && max - min <= 64)) return () => even(min, max);
  if (min > 0 && max / min <= 1e5) return () => ratio(min, max);
  return (value) => {
    const size = Math.max(Math.abs(value), 10);
    if (min >= 0 && value > 0) return ratio(Math.max(min, value / 6, 1e-3), Math.min(max, value * 6));
    return even(Math.max(min, value - size * 2), Math.min(max, value + size * 2));
  };
}

/** A number short enough to read, fine enough for its size. */
export function tidy(value, { whole = false, min = -Infinity, max = Infinity } = {}) {
  const digits = Math.max(0, 2 - Math.floor(Math.log10(Math.max(Math.abs(value), 1e-3))));
  const rounded = whole ? Math.round(value) : Number(value.toFixed(Math.min(digits, 6)));
  return Math.min(max, Math.max(min, rounded));
}

/** A field for a key of `slot`, or of the scene where that is null. */
export class Field {
  constructor(key, slot, presets, hint) {
    Object.assign(this, { key, slot, value: null });
    ids += 1;
    this.id = `f${ids}`;
    this.parts = kinds(key.schema);
    this.number = this.parts.find((part) => part.minimum !== undefined && part.maximum !== undefined);
    this.whole = this.number?.type === "integer";
    this.entry = make("div", { className: "entry" });
    this.who = make("span", { className: "who" });
    this.out = make("button", { type: "button", className: "out", hidden: true, "aria-label": `Clear ${key.name.replaceAll("_", " ")}` }, "Clear");
    this.out.title = "Remove this value, so that the inherited one applies";
    this.out.addEventListener("click", (event) => { gestureEnds(); this.unset(event); });
    this.change = make("div", { className: "change" });
    this.wrong = make("p", { className: "wrong", id: `${this.id}-wrong`, hidden: true });
    const unit = key.unit ? make("span", { className: "unit" }, ` ${key.unit}`) : "";
    this.label = make("label", { htmlFor: this.id }, key.name.replaceAll("_", " "), unit);
    this.root = make("div", { className: "field" }, this.label, make("span", { className: "by" }, this.who, this.out), this.entry, this.wrong, this.change);
    this.root.dataset.key = key.path;
    this.build(presets);
    const tell = () => hint(key);
    this.root.addEventListener("focusin", tell);
    this.root.addEventListener("pointerenter", tell);
  }

  get what() {
    return `${this.slot ?? ""}/${this.key.path}`;
  }

  set(value, event) {
    this.accept();
    this.sent = send({ do: "set", slot: this.slot, key: this.key.path, value, gesture: gesture(this.what) }, event);
  }

  unset(event) {
    this.accept();
    this.sent = send({ do: "unset", slot: this.slot, key: this.key.path }, event);
  }

  build(presets) {
    const words = this.parts.find((part) => part.enum);
    const colour = this.parts.some((part) => part.pattern?.startsWith("^#"));
    const flag = this.parts.some((part) => part.type === "boolean");
    const id = this.id;
    if (this.key.preset) return this.choice(presets, id);
    if (colour) return this.colour(id);
    if (this.number && this.key.schema.type !== "array") return this.numbers(id, flag);
    if (words) return this.choice(words.enum, id);
    if (flag) {
      this.box = make("input", { type: "checkbox", id });
      this.box.addEventListener("change", (event) => this.set(this.box.checked, event));
      return this.entry.append(this.box);
    }
    this.text(id, "long");
  }

  text(id, className = "") {
    this.input = make("input", { type: "text", id, className, autocomplete: "off", spellcheck: false, placeholder: this.key.without });
    if (this.number && this.key.schema.type !== "array") this.input.inputMode = "decimal";
    this.input.addEventListener("change", (event) => { this.ahead = false; gestureEnds(); this.typed(event); });
    // What is being typed is newer than what comes in.
    this.input.addEventListener("input", () => { this.ahead = true; });
    this.input.addEventListener("blur", () => { this.ahead = false; });
    if (this.scale) this.input.addEventListener("keydown", (event) => this.stepped(event));
    this.entry.append(this.input);
  }

  typed(event) {
    const text = this.input.value.trim();
    const none = text === "" && this.key.schema.type !== "string";
    if (none) return this.unset(event);
    let value = text;
    if (this.key.schema.type === "array") value = text.split(/[\sx,]+/).map(Number);
    else if (this.number && text !== "inf") {
      if (text === "yes" || text === "no" || text === "true" || text === "false") value = text === "yes" || text === "true";
      else value = Number(text.replace(",", "."));
    }
    const bad = (number) => typeof number === "number" && !Number.isFinite(number);
    if ([value].flat().some(bad)) return this.refuse(`"${text}" is not a number.`);
    this.set(value, event);
  }

  numbers(id, flag) {
    this.scale = scaleOf(this.number, this.whole);
    this.slider = make("input", { type: "range", min: 0, max: 1000, step: 1, "aria-label": `${this.key.name}, slider` });
    const { minimum: min, maximum: max } = this.number;
    this.slider.addEventListener("input", (event) => {
      // The slider's scale is fixed during a drag.
      this.held ??= this.scale(this.value);
      const value = tidy(this.held.at(this.slider.value / 1000), { whole: this.whole, min, max });
      this.tell(value);
      this.set(value, event);
    });
    this.slider.addEventListener("change", () => { this.held = null; });
    this.slider.addEventListener("pointerup", () => { this.held = null; gestureEnds(); });
    this.entry.append(this.slider);
    this.text(id);
    if (flag) this.input.title = "yes, no, or a number";
  }

  tell(value) {
    this.input.value = typeof value === "number" ? short(value) : words(value);
    this.slider.setAttribute("aria-valuetext", `${words(value)} ${this.key.unit}`.trim());
  }

  choice(all, id) {
    this.select = make("select", { id }, ...all.map((word) => make("option", { value: word }, word)));
    this.select.addEventListener("change", (event) => { gestureEnds(); this.set(this.select.value, event); });
    this.entry.append(this.select);
  }

  colour(id) {
    this.swatch = make("input", { type: "color", "aria-label": `${this.key.name}, colour` });
    this.swatch.addEventListener("input", (event) => this.set(this.swatch.value, event));
    this.swatch.addEventListener("change", gestureEnds);
    this.entry.append(this.swatch);
    this.text(id, "long");
  }

  get inputs() {
    return [this.input, this.select, this.box].filter(Boolean);
  }

  /** The refused value stays, with the reason under it. */
  refuse(message) {
    this.wrong.textContent = message;
    this.wrong.hidden = false;
    const [part] = this.inputs;
    part.setAttribute("aria-invalid", "true");
    part.setAttribute("aria-describedby", this.wrong.id);
  }

  accept() {
    if (this.wrong.hidden) return;
    this.wrong.hidden = true;
    for (const part of this.inputs) for (const name of ["aria-invalid", "aria-describedby"]) part.removeAttribute(name);
  }

  /** Up and Down, and Page keys, move a typed number as its slider goes. */
  stepped(event) {
    const stride = { ArrowUp: 1, ArrowDown: -1, PageUp: 10, PageDown: -10 }[event.key];
    if (!stride || event.ctrlKey || event.altKey || event.metaKey || typeof this.value !== "number") return;
    event.preventDefault();
    const { minimum: min, maximum: max } = this.number;
    const from = this.wrong.hidden && Number.isFinite(Number(this.input.value)) ? Number(this.input.value) : this.value;
    const scale = this.scale(from);
    const steps = stride * (event.shiftKey ? 5 : 1);
    let value = tidy(scale.at(scale.of(from) + steps / 100), { whole: this.whole, min, max });
    this.ahead = true;
    if (value === from && this.whole) value = Math.min(max, Math.max(min, from + Math.sign(steps)));
    this.tell(value);
    this.set(value, event);
  }

  /** Shows `[value, who, given, old]`. */
  show(entry, haze) {
    const [value = null, who = "", given = false] = entry ?? [];
    this.value = value;
    const active = document.activeElement;
    if (this.input && (active !== this.input || !this.wrong.hidden || !this.ahead)) {
      this.input.value = value === null ? "" : Array.isArray(value) ? value.map(short).join(" x ") : value === true ? "yes" : value === false ? "no" : short(value);
    }
    if (this.slider) {
      const moves = typeof value === "number";
      this.slider.hidden = !moves;
      if (moves && !this.held) {
        this.slider.value = Math.round(1000 * Math.min(1, Math.max(0, this.scale(value).of(value))));
        this.slider.setAttribute("aria-valuetext", `${short(value)} ${this.key.unit}`.trim());
      }
    }
    if (this.select) {
      if (value === null && !this.select.querySelector("option[value='']")) this.select.prepend(make("option", { value: "" }, this.key.without || "none"));
      this.select.value = value ?? "";
    }
    if (this.box) this.box.checked = value === null ? this.key.without === "true" || this.key.without.endsWith("else true") : value === true;
    if (this.swatch) {
      const colour = /^#[0-9a-f]{6}$/i.test(value ?? "") ? value : haze;
      if (/^#[0-9a-f]{6}$/i.test(colour ?? "")) this.swatch.value = colour;
      this.swatch.classList.toggle("lent", colour !== value);
    }
    this.accept();
    const literal = this.key.schema.default !== undefined;
    const origin = who === "default" ? who : given ? `set in: ${who}` : `from ${who}`;
    const by = value !== null ? origin : literal ? `default: ${words(this.key.schema.default)}` : this.key.without || "not set";
    if (this.who.textContent !== by) this.who.textContent = by;
    this.out.hidden = !given || ["view", "slot.depth"].includes(this.key.path);
    this.who.classList.toggle("given", given);
    this.changes(entry);
  }

  /** The saved value and the button that restores it. */
  changes(entry) {
    const changed = entry?.length > 3;
    const looks = JSON.stringify(changed && [entry[3]]);
    if (this.looks === looks) return;
    this.looks = looks;
    this.change.replaceChildren();
    const name = this.key.name.replaceAll("_", " ");
    const button = (text, about, message) => {
      const made = make("button", { type: "button", "aria-label": `${about} ${name}` }, text);
      made.addEventListener("click", (event) => { gestureEnds(); send({ ...message, slot: this.slot, key: this.key.path }, event); });
      return made;
    };
    if (changed) this.change.append(make("span", {}, `was ${words(entry[3])}`), button("Revert", `Revert to ${words(entry[3])}:`, { do: "restore" }));
  }
}
