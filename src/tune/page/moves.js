// Moves of the pointer as they come: with the next frame, as browsers tell them by themselves, each picture would be begun that much later.

/** Least time between two, ms: some mice move a thousand times a second. */
const APART = 8;

/** Calls `work` with the moves of a pointer over `element`; what comes too soon after another is left to the frame's own event. */
export function onMoves(element, work) {
  let last = { time: -Infinity };
  const tell = (event) => {
    last = { time: event.timeStamp, pointer: event.pointerId, x: event.clientX, y: event.clientY };
    work(event);
  };
  const isKnown = (event) => event.pointerId === last.pointer && event.clientX === last.x && event.clientY === last.y;
  element.addEventListener("pointerrawupdate", (event) => { if (event.timeStamp - last.time >= APART) tell(event); });
  element.addEventListener("pointermove", (event) => { if (!isKnown(event)) tell(event); });
}
