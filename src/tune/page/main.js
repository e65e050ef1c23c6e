// The page: glues the socket, the picture, the section and the controls together.
import { by } from "./by.js";
import { connect, on, send, gestureEnds } from "./wire.js";
import { soon, atRest, isDragged } from "./soon.js";
import { setUpPicture, setTravel, showMarks, setFailing, outline } from "./picture.js";
import { setUpMoods, showMoods } from "./moods.js";
import { setUpDrift } from "./drift.js";
import { setUpRecipes, showRecipes } from "./recipes.js";
import { setUpLevel, showLevel } from "./level.js";
import { setUpControls, showControls, refused, mending, lead } from "./controls.js";
import { setUpSection, showSection } from "./section.js";
import { nameOf } from "./words.js";
import { offer } from "./recovery.js";
import { setUpLamps, showLamps } from "./lamps.js";
import { setUpPlaces, showPlaces } from "./places.js";
import { setUpFrames, showFrames } from "./frames.js";
import { setUpHand, showHand } from "./strokes.js";
import { setUpAlong, showAlong } from "./along.js";

/** State that all parts of the page share. */
const page = { state: null, keys: [], subject: "", slots: new Map(), failing: new Set() };

/** The slot that the page was last laid out for. */
let told = null;

const SAVED = "Saved.";
function say(text, bad = false) {
  by("said").textContent = text;
  by("said").classList.toggle("bad", bad);
}

function banner(id, fill) {
  by(id)?.remove();
  if (!fill) return;
  const box = document.createElement("div");
  box.id = id;
  box.setAttribute("role", "alert");
  fill(box);
  by("banners").append(box);
}

function element(name, text, more = {}) {
  const made = Object.assign(document.createElement(name), more);
  made.textContent = text;
  return made;
}

function faulty(faults, title) {
  return faults && ((box) => {
    const first = faults.list[0];
    const place = first.line ? `${first.file}:${first.line.number}:${first.line.column}` : first.file ?? "";
    box.append(element("strong", title), element("span", `${place}${place ? ": " : ""}${first.message}. ${first.remedy ?? ""}`));
    if (first.line) box.append(element("code", `${first.line.number} | ${first.line.text}`));
    if (faults.list.length > 1) box.append(element("span", `and ${faults.list.length - 1} more`));
  });
}

/** Shows what depends on which slot is chosen. Another slot's controls are laid out at rest: that takes as long as several pictures. */
function tellChoice() {
  if (told !== page.subject && isDragged()) return atRest("choice", tellChoice);
  told = page.subject;
  for (const id of ["reseed", "alone"]) by(id).hidden = !page.subject;
  showHand();
  showAlong();
  outline(page.subject);
  showLevel();
  showPlaces();
  showFrames();
  showRecipes();
  showControls(page);
}

function choose(name, focus = false) {
  page.subject = name;
  by("subject").value = name;
  tellChoice();
  if (isDragged()) soon(redraw);
  else showSection(page);
  if (focus) by("subject").focus();
}

function show(state) {
  page.state = state;
  page.slots = new Map(state.slots.map((slot) => [slot.name, slot]));
  if (page.subject && !page.slots.has(page.subject)) page.subject = "";
  by("name").textContent = state.name;
  by("unsaved").hidden = !state.unsaved;
  if (state.unsaved && by("said").textContent === SAVED) say("");
  document.title = `${state.unsaved ? "● " : ""}${state.name}: tuning`;
  by("undo").disabled = state.steps[0] === 0;
  by("redo").disabled = state.steps[1] === 0;
  by("save").disabled = !state.unsaved || state.contested;
  const names = ["", ...state.slots.map((slot) => slot.name)];
  const select = by("subject");
  if (select.dataset.names !== names.join("\n")) {
    select.dataset.names = names.join("\n");
    select.replaceChildren(...names.map((name) => element("option", name ? `slot ${name}` : "whole scene", { value: name })));
  }
  select.value = page.subject;
  setTravel(state);
  showLamps(state);
  showMoods(state);
  tellChoice();
  banner("broken", faulty(state.faults, "The file has errors; the last good picture is shown."));
  banner("unreadable", faulty(state.unreadable, "The scene file can't be read now, so nothing is saved into it. Unsaved changes are kept."));
  banner("offer", state.offered && offer);
  banner("contest", state.contested && ((box) => {
    box.append(element("strong", "The scene was changed in two places."), element("span", "The file was changed in an editor while this page has unsaved changes. Whichever you choose, Undo brings back the other."));
    for (const [text, mine] of [["Keep this page's changes", true], ["Load the file", false]]) {
      const button = element("button", text, { type: "button" });
      button.addEventListener("click", () => send({ do: "choose", mine }));
      box.append(button);
    }
  }));
}

function showReport(report) {
  page.report = report;
  page.failing = new Set(report.findings.filter((one) => one.fails && one.slot).map((one) => one.slot));
  setFailing(page.failing);
  soon(redraw);
  const fails = report.findings.filter((one) => one.fails).length;
  by("marks").textContent = report.passes ? "Check: passed" : `Check: ${fails} failed`;
  by("marks").classList.toggle("failed", !report.passes);
  by("verdict").textContent = report.passes ? "The scene is within its limits." : `${fails} ${fails === 1 ? "limit" : "limits"} not met.`;
  by("findings").replaceChildren(...report.findings.map((one) => {
    const item = document.createElement("li");
    item.append(element("span", one.fails ? "Fails: " : "Note: ", { className: one.fails ? "fails" : "" }));
    if (one.slot) {
      const button = element("button", one.slot, { type: "button" });
      button.addEventListener("click", () => choose(one.slot, true));
      item.append(button, " ");
    }
    item.append(element("span", `${one.message}. ${one.remedy}`));
    const key = mending(page, one);
    if (key) {
      const button = element("button", `Go to ${nameOf(key)}`, { type: "button" });
      button.addEventListener("click", () => {
        choose(key.table === "slot" || page.steps.includes(key.table) ? one.slot ?? "" : "");
        lead(page, key);
      });
      item.append(" ", button);
    }
    return item;
  }));
}

const redraw = { word: "section", run: () => showSection(page) };

on("hello", (hello) => {
  Object.assign(page, { keys: hello.controls, presets: hello.presets });
  setUpControls(page, hello);
});
// The section is drawn of both.
on("state", (state) => { soon({ word: "state", run: () => show(state) }); soon(redraw); });
on("section", (section) => { page.section = section; soon({ word: "drawn", run: () => banner("undrawn") }); soon(redraw); });
on("report", showReport);
on("marks", (marks, all) => showMarks(marks, all));
on("undrawn", (faults) => banner("undrawn", faulty(faults, "The scene can't be drawn; the last good picture is shown.")));
on("refused", (refusal) => {
  const first = refusal.faults?.list[0];
  say(first ? `${first.message}. ${first.remedy ?? ""}` : refusal.message, true);
  refused(refusal, first ? `${first.message}. ${first.remedy ?? ""}` : refusal.message);
});
let saving = 0;
on("done", (number) => {
  if (number === saving) say(page.state?.contested ? "" : SAVED);
  else if (by("said").classList.contains("bad")) say("");
});
// Without the program nothing can be edited or saved: what can't be kept isn't taken.
let left = null;
on("gone", () => {
  if (left) return;
  left = document.activeElement ?? document.body;
  for (const id of ["bar", "desk"]) by(id).inert = true;
  banner("gone", (box) => box.append(element("strong", "The program has stopped or can't be reached."), element("span", "Edits can't be made or saved until it runs again. If it was stopped, what wasn't saved is lost. Reconnecting.")));
});
on("open", () => {
  banner("gone");
  for (const id of ["bar", "desk"]) by(id).inert = false;
  left?.focus({ preventScroll: true });
  left = null;
});

const act = (message) => (event) => { gestureEnds(); return send(message, event); };
by("undo").addEventListener("click", act({ do: "undo" }));
by("redo").addEventListener("click", act({ do: "redo" }));
const save = (event) => { saving = act({ do: "save" })(event); };
by("save").addEventListener("click", save);
by("reseed").addEventListener("click", (event) => act({ do: "reseed", slot: page.subject })(event));
by("subject").addEventListener("change", () => choose(by("subject").value));
addEventListener("keydown", (event) => {
  if (!(event.ctrlKey || event.metaKey) || event.altKey) return;
  const key = event.key.toLowerCase();
  const typing = event.target.matches?.("input[type=text], input[type=number]");
  const work = key === "s" ? save
    : typing ? null
    : key === "z" ? act({ do: event.shiftKey ? "redo" : "undo" })
    : key === "y" ? act({ do: "redo" }) : null;
  if (!work) return;
  event.preventDefault();
  work(event);
});
addEventListener("beforeunload", (event) => { if (page.state?.unsaved) event.preventDefault(); });

setUpPicture((name) => choose(name));
setUpSection(page, choose);
setUpLamps();
setUpPlaces(page);
setUpFrames(page);
setUpMoods(page);
setUpDrift();
setUpRecipes(page);
setUpLevel(page, { choose, say });
setUpHand(page);
setUpAlong(page);
connect();
