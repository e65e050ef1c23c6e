// Keys of a handle that is a slider (WAI-ARIA 1.2): arrows step, Page keys stride, Home and End go to its ends.
const STRIDES = { ArrowLeft: -1, ArrowDown: -1, ArrowRight: 1, ArrowUp: 1, PageUp: 10, PageDown: -10 };

/** Does what a key asks of a handle; `choose` is called for Enter. */
export function byKey(event, { step, ends, slot }, choose) {
  if (event.ctrlKey || event.altKey || event.metaKey) return;
  if (event.key === "Enter" && slot) choose(slot, true);
  const stride = STRIDES[event.key];
  if (!stride && event.key !== "Home" && event.key !== "End") return;
  event.preventDefault();
  if (stride) step(stride * (event.shiftKey ? 5 : 1), event);
  else ends(event.key === "End", event);
}
