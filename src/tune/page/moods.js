// The moods of the scene: chosen, made and removed.
import { by } from "./by.js";
import { send, gestureEnds } from "./wire.js";
import { setMoods as setCompared } from "./compare.js";

const NEW = "+";

function option(value, text) {
  return Object.assign(document.createElement("option"), { value, textContent: text });
}

/** Shows which moods there are and which is tuned. A mood's value begins with a colon: any name may be one. */
export function showMoods({ mood, moods }) {
  const select = by("mood");
  const names = JSON.stringify(moods);
  if (select.dataset.names !== names) {
    select.dataset.names = names;
    select.replaceChildren(option("", "none: the scene"), ...moods.map((one) => option(`:${one}`, one)), option(NEW, "new mood…"));
  }
  if (by("new-mood").hidden) select.value = mood === null ? "" : `:${mood}`;
  by("unmake").hidden = mood === null;
  setCompared(moods, mood);
}

function make(event) {
  const name = by("mood-name").value.trim();
  close();
  if (!name) return;
  gestureEnds();
  send({ do: "make", mood: name }, event);
}

function close() {
  by("new-mood").hidden = true;
  by("mood-name").value = "";
}

export function setUpMoods(page) {
  by("mood").addEventListener("change", (event) => {
    const { value } = by("mood");
    if (value === NEW) {
      by("new-mood").hidden = false;
      return by("mood-name").focus();
    }
    close();
    gestureEnds();
    send({ do: "mood", name: value ? value.slice(1) : null }, event);
  });
  by("make").addEventListener("click", make);
  by("mood-name").addEventListener("keydown", (event) => {
    if (event.key === "Enter") make(event);
    else if (event.key === "Escape") { close(); showMoods(page.state); }
    else return;
    event.preventDefault();
    by("mood").focus();
  });
  by("unmake").addEventListener("click", (event) => {
    gestureEnds();
    send({ do: "unmake", mood: page.state.mood }, event);
  });
}
