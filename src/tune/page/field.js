// One control, made from its part of the JSON Schema: a number with its slider, a switch, a word, a colour, a text.
import { send, gesture, gestureEnds } from "./wire.js";
import { pointsOf, short, words, tidy, scaleOf } from "./numbers.js";
import { nameOf } from "./words.js";
import { pickColour } from "./picker.js";

let ids = 0;

/** An element with its properties and what is in it. */
export function make(name, more = {}, ...inside) {
  const made = document.createElement(name);
  for (const [key, value] of Object.entries(more)) {
    if (key in made && key !== "list") made[key] = value;
    else made.setAttribute(key, value);
  }
  made.append(...inside);
  return made;
}

/** The kinds that a part of the schema allows. */
function kinds(schema) {
  return schema.anyOf ?? [schema];
}

/** A field for a key of `slot`, or of the scene where that is null. `around` has the presets, `hint` to tell what a key does, `scene` for its
 * measures, and `beside` where it stands in one of two columns. */
export class Field {
  constructor(key, slot, around) {
    Object.assign(this, { key, slot, around, value: null, name: nameOf(key) });
    ids += 1;
    this.id = `f${ids}`;
    this.parts = kinds(key.schema);
    this.number = this.parts.find((part) => part.minimum !== undefined && part.maximum !== undefined);
    this.whole = this.number?.type === "integer";
    // A number for the first of two directions, or one for each.
    this.pair = this.parts.length > 1 && this.parts.some((part) => part.type === "array");
    this.entry = make("div", { className: "entry" });
    this.who = make("span", { className: "who" });
    this.out = make("button", { type: "button", className: "out", hidden: true, "aria-label": `Clear ${this.name}` }, "Clear");
    this.out.title = "Remove this value, so that the inherited one applies";
    this.out.addEventListener("click", (event) => { gestureEnds(); this.unset(event); });
    this.change = make("div", { className: "change" });
    this.wrong = make("p", { className: "wrong", id: `${this.id}-wrong`, hidden: true });
    const unit = key.unit && !around.beside ? make("span", { className: "unit" }, ` ${key.unit}`) : "";
    this.label = make("label", { htmlFor: this.id }, this.name, unit);
    this.root = make("div", { className: "field" }, this.label, make("span", { className: "by" }, this.who, this.out), this.entry, this.wrong, this.change);
    Object.assign(this.root.dataset, { key: key.path, slot: slot ?? "" });
    this.build(around.presets);
    const tell = () => around.hint(key);
    this.root.addEventListener("focusin", tell);
    this.root.addEventListener("pointerenter", tell);
  }

  /** Whether it takes points of a curve: `0: 1, 4000: 3`. */
  get isCurve() {
    return this.key.schema.items?.type === "array";
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
    if (this.isCurve) value = pointsOf(text);
    else if (this.key.schema.type === "array") value = text.split(/[\sx,]+/).map(Number);
    else if (this.pair && /[^\sx,][\sx,]+[^\sx,]/.test(text)) value = text.split(/[\sx,]+/).map(Number);
    else if (this.number && text !== "inf") {
      if (text === "yes" || text === "no" || text === "true" || text === "false") value = text === "yes" || text === "true";
      else value = Number(text.replace(",", "."));
    }
    const bad = (number) => typeof number === "number" && !Number.isFinite(number);
    if ([value].flat(2).some(bad)) return this.refuse(`"${text}" is not a number.`);
    this.set(value, event);
  }

  numbers(id, flag) {
    this.scale = scaleOf(this.key.path, this.number, this.whole, this.around.scene);
    this.slider = make("input", { type: "range", min: 0, max: 1000, step: 1, "aria-label": `${this.name}, slider` });
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
    if (this.pair) this.input.title = "a number to the right, or two: to the right and down";
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
    this.swatch = make("input", { type: "color", "aria-label": `${this.name}, colour` });
    this.swatch.addEventListener("input", (event) => this.set(this.swatch.value, event));
    this.swatch.addEventListener("change", gestureEnds);
    this.entry.append(this.swatch);
    this.text(id, "long");
    const pick = make("button", { type: "button", className: "pick", "aria-label": `Pick ${this.name} from the picture` }, "Pick");
    pick.addEventListener("click", () => pickColour(pick, (hex, event) => { gestureEnds(); this.set(hex, event); }));
    this.entry.append(pick);
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
    // Beyond the slider's range a step is a share of the value.
    const place = scale.of(from);
    const beyond = place < -1e-6 || place > 1 + 1e-6 || Math.abs(scale.at(place) - from) > 1e-3 * Math.abs(from);
    const next = beyond ? from + (Math.abs(from) * steps) / 25 : scale.at(place + steps / 100);
    let value = tidy(next, { whole: this.whole, min, max });
    this.ahead = true;
    if (value === from && this.whole) value = Math.min(max, Math.max(min, from + Math.sign(steps)));
    this.tell(value);
    this.set(value, event);
  }

  /** Tells which slots have a value of their own, and offers to clear it. */
  tellOwners(slots, path) {
    const looks = slots.join("\n");
    if (this.owners === looks) return;
    this.owners = looks;
    this.own?.remove();
    if (slots.length === 0) return;
    const names = slots.length > 4 ? `${slots.slice(0, 3).join(", ")} and ${slots.length - 3} more` : slots.join(", ");
    const button = make("button", { type: "button", "aria-label": `Clear there: ${this.name} of ${names}` }, "Clear there");
    button.addEventListener("click", (event) => { gestureEnds(); send({ do: "clear", key: path }, event); });
    this.own = make("div", { className: "change own" }, make("span", {}, `own value: ${names}`), button);
    this.root.append(this.own);
  }

  /** Shows `[value, who, given, old]`. */
  show(entry, haze) {
    const [value = null, who = "", given = false] = entry ?? [];
    this.value = value;
    const active = document.activeElement;
    if (this.input && (active !== this.input || !this.wrong.hidden || !this.ahead)) {
      this.input.value = value === null ? "" : Array.isArray(value) ? words(value) : value === true ? "yes" : value === false ? "no" : short(value);
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
    const { name } = this;
    const button = (text, about, message) => {
      const made = make("button", { type: "button", "aria-label": `${about} ${name}` }, text);
      made.addEventListener("click", (event) => { gestureEnds(); send({ ...message, slot: this.slot, key: this.key.path }, event); });
      return made;
    };
    if (changed) this.change.append(make("span", {}, `was ${words(entry[3])}`), button("Revert", `Revert to ${words(entry[3])}:`, { do: "restore" }));
  }
}
