// Places: further pictures on the plane of the chosen slot, one row of fields each.
import { by } from "./by.js";
import { make } from "./field.js";
import { send, gestureEnds } from "./wire.js";
import { view } from "./view.js";

/** Numbers of a place: key, what it is called, least, and what an empty field stands for; where that is nothing, one must be given. */
const FIELDS = [["x", "From the left", -1e7, ""], ["y", "From the top", -1e6, "ground"], ["width", "Width", 1, "its own"]];
const MOST = 1e7;

let page = null;
let shown = "";
let rows = [];

function set(number, key, value, event) {
  gestureEnds();
  send({ do: "place", slot: page.subject, number, key: `place.${key}`, value }, event);
}

function numberField(number, [key, name, min, without]) {
  const input = make("input", { type: "number", min, max: MOST, step: "any", placeholder: without, required: !without });
  input.addEventListener("change", (event) => {
    if (!input.checkValidity()) return input.reportValidity();
    set(number, key, input.value === "" ? null : Number(input.value), event);
  });
  input.dataset.key = key;
  return [input, make("label", {}, name, input)];
}

function row(place) {
  const { number } = place;
  const numbers = FIELDS.map((field) => numberField(number, field));
  const flip = make("input", { type: "checkbox" });
  flip.dataset.key = "flip";
  flip.addEventListener("change", (event) => set(number, "flip", flip.checked, event));
  const remove = make("button", { type: "button", title: "Remove this place (Undo brings it back)" }, "Remove");
  remove.setAttribute("aria-label", `Remove place ${number}`);
  remove.addEventListener("click", (event) => {
    gestureEnds();
    send({ do: "remove-place", slot: page.subject, number }, event);
  });
  const name = make("legend", {});
  const root = make("fieldset", { className: "place" }, name, ...numbers.map(([, label]) => label), make("label", { className: "flip" }, flip, "Mirrored"), remove);
  const show = (place) => {
    name.textContent = `Place ${number}: ${place.art}`;
    for (const [input] of numbers) {
      if (document.activeElement !== input || input.checkValidity()) input.value = place[input.dataset.key] ?? "";
    }
    flip.checked = place.flip;
  };
  return { root, show };
}

/** Places are the scene's own; a mood may list others in their stead, which stay as they are. */
function tellMood(lists) {
  const { mood } = page.state;
  by("place-mood").hidden = mood === null;
  by("place-mood").textContent = lists
    ? `The mood ${mood} lists places of its own. Change those in the file.`
    : "Places belong to the scene: a change holds in every mood.";
  for (const part of by("places").querySelectorAll("fieldset, #place-add")) part.disabled = lists;
}

/** Shows the places of the chosen slot; a slot without a picture has none. */
export function showPlaces() {
  const slot = page.subject && page.slots.get(page.subject);
  const places = slot ? slot.places : [];
  by("places").hidden = !slot || !(slot.values["slot.art"]?.[0] || places.length);
  if (by("places").hidden) return;
  by("place-count").textContent = places.length ? ` ${places.length} besides its own` : " the same picture again, or another";
  const looks = JSON.stringify([page.subject, places.map(({ number }) => number)]);
  if (looks !== shown) {
    shown = looks;
    rows = places.map(row);
    by("place-list").replaceChildren(...rows.map(({ root }) => root));
  }
  rows.forEach(({ show }, at) => show(places[at]));
  tellMood(slot.placesOfMood);
}

export function setUpPlaces(shared) {
  page = shared;
  by("place-add").addEventListener("click", (event) => {
    gestureEnds();
    const camera = page.section?.camera ?? page.state.view[0] / 2;
    const depth = page.slots.get(page.subject).values["slot.depth"]?.[0] ?? 0;
    // Where the middle of the picture is.
    const x = Math.round(page.state.view[0] / 2 + (view.camera[0] * camera) / (camera + depth));
    send({ do: "add-place", slot: page.subject, x }, event);
  });
}
