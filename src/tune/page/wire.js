// The socket: messages out, each with a number; the state, the section and pictures in.
const heard = new Map();
let socket = null;
let stamp = 0;
/** Time of the input behind each message, by the message's number, to measure the time until its picture. */
const begun = new Map();

/** Calls `work` with each message of the server under `word`. */
export function on(word, work) {
  if (!heard.has(word)) heard.set(word, []);
  heard.get(word).push(work);
}

function tell(word, value, all) {
  for (const work of heard.get(word) ?? []) work(value, all);
}

/** Sends a message caused by the input `event`. Returns its number. */
export function send(message, event) {
  if (socket?.readyState !== WebSocket.OPEN) return 0;
  stamp += 1;
  begun.set(stamp, event?.timeStamp || performance.now());
  asked = performance.now();
  socket.send(JSON.stringify({ ...message, stamp }));
  return stamp;
}

/** How long a picture may be awaited, ms: not all that is asked for comes with one. */
const AWAITED = 200;
let asked = 0;
/** Whether the picture of an input is still to come. */
export const awaitsPicture = () => begun.size > 0 && performance.now() - asked < AWAITED;

/** The turn of the scene that is shown. */
let turn = 0;

function time(number) {
  const start = begun.get(number);
  begun.delete(number);
  if (start !== undefined) performance.measure("input to picture", { start, end: performance.now() });
}

/** Reports that a picture is shown, and times every input that it is the first to include. */
export function shown(frame) {
  socket.send('{"do":"shown"}');
  catchUp();
  if (frame.kind === 0) turn = frame.turn;
  if (frame.kind === 3) return;
  for (const number of begun.keys()) {
    if (number > frame.stamp) break;
    if (frame.kind === 0 && !frame.settled) time(number);
    else begun.delete(number);
  }
}

// An input that changed nothing has its picture already.
on("done", (number, all) => { if (all.turn === turn) time(number); });
// What is refused gets none.
on("refused", ({ stamp: number }) => begun.delete(number));
// Nor does another view always have another picture.
on("same", (number, all) => { if (all.turn === turn && begun.keys().next().value === number) time(number); });

/** How long a change of the page may wait for a picture, ms. */
const TOGETHER = 60;
const waiting = new Map();
let timer = 0;
/** Runs `work` with the next picture, or soon without one, so that the browser draws once. A newer `work` of the same name replaces it. */
export function together(name, work) {
  waiting.set(name, work);
  timer ||= setTimeout(catchUp, TOGETHER);
}

export function catchUp() {
  clearTimeout(timer);
  timer = 0;
  const works = [...waiting.values()];
  waiting.clear();
  for (const work of works) work();
}

/** Bytes of a picture's head. */
const HEAD = 48;
let draft = null;
let part = null;
/** Codes clamped to 0..255, from -256 on: cheaper than clamping each. */
const HELD = Uint8Array.from({ length: 768 }, (_, at) => Math.min(255, Math.max(0, at - 256)));
/** A draft's texels, with their chroma subsampled: green for each, then of every two by two how much more red there is, and how much more blue, halved, from 128 on. */
function decode(buffer, width, height, image) {
  const from = new Uint8Array(buffer, HEAD);
  const to = new Uint32Array(image.data.buffer);
  const across = (width + 1) >> 1;
  const planes = [width * height, width * height + across * ((height + 1) >> 1)];
  const even = width & ~1;
  for (let y = 0, at = 0; y < height; y += 1) {
    let red = planes[0] + (y >> 1) * across;
    let blue = planes[1] + (y >> 1) * across;
    // Two texels a turn, without a loop of their own: it runs half a million times a picture.
    for (const end = at + even; at < end; at += 2, red += 1, blue += 1) {
      const more = 2 * from[red];
      const bluer = 2 * from[blue];
      const one = from[at];
      const two = from[at + 1];
      to[at] = 0xff000000 | (HELD[one + bluer] << 16) | (one << 8) | HELD[one + more];
      to[at + 1] = 0xff000000 | (HELD[two + bluer] << 16) | (two << 8) | HELD[two + more];
    }
    if (even < width) {
      const last = from[at];
      to[at] = 0xff000000 | (HELD[last + 2 * from[blue]] << 16) | (last << 8) | HELD[last + 2 * from[red]];
      at += 1;
    }
  }
  return image;
}

/** An image of this size: `own`, if it has it. */
const sized = (own, width, height) => (own?.width === width && own.height === height ? own : new ImageData(width, height));

function texels(buffer, form, width, height) {
  if (form === 2) return { line: new Uint8Array(buffer, HEAD, width * height) };
  if (form === 3) return { image: decode(buffer, width, height, part = sized(part, width, height)), isPart: true };
  return { image: form === 1 ? decode(buffer, width, height, draft = sized(draft, width, height)) : new ImageData(new Uint8ClampedArray(buffer, HEAD, width * height * 4), width, height) };
}

function read(buffer) {
  const head = new DataView(buffer);
  if (buffer.byteLength < HEAD || head.getUint32(0) !== 0x666f6777) return;
  const [width, height] = [head.getUint32(8, true), head.getUint32(12, true)];
  tell("picture", {
    kind: head.getUint8(4), settled: head.getUint8(5) === 1, width, height,
    stamp: head.getUint32(16, true), turn: head.getUint32(20, true), camera: [head.getFloat64(24, true), head.getFloat64(40, true)],
    left: head.getUint32(32, true), top: head.getUint32(36, true),
    ...texels(buffer, head.getUint8(6), width, height),
  });
}

export function connect() {
  socket = new WebSocket(new URL("socket", location.href.replace(/^http/, "ws")));
  socket.binaryType = "arraybuffer";
  socket.onopen = () => tell("open");
  socket.onmessage = ({ data }) => {
    if (typeof data !== "string") return read(data);
    const all = JSON.parse(data);
    for (const [word, value] of Object.entries(all)) tell(word, value, all);
  };
  socket.onclose = () => {
    begun.clear();
    tell("gone");
    setTimeout(connect, 1000);
  };
}

let gestures = 0;
const run = Math.random().toString(36).slice(2);
let last = { what: "", at: -1e9, name: "" };

/** Pointers and keys that are held down, and when the last of them was pressed. */
const down = new Set();
let pressed = 0;
function press(name) {
  if (!down.has(name)) pressed = performance.now();
  down.add(name);
}
addEventListener("pointerdown", ({ pointerId }) => press(pointerId), true);
addEventListener("keydown", ({ code }) => press(code), true);
for (const end of ["pointerup", "pointercancel"]) addEventListener(end, ({ pointerId }) => down.delete(pointerId), true);
addEventListener("keyup", ({ code }) => down.delete(code), true);
addEventListener("blur", () => down.clear());

/** The name of the gesture that an edit of `what` belongs to: edits of the same thing are one gesture as long as what they are made with is
 * held, and where they come quickly. */
export function gesture(what) {
  const now = performance.now();
  const held = down.size > 0 && pressed <= last.at;
  if (last.what !== what || (!held && now - last.at > 900)) {
    gestures += 1;
    last = { what, at: now, name: `${run}-${gestures}` };
  }
  last.at = now;
  return last.name;
}

/** Ends the gesture: the next edit is a new undo step. */
export function gestureEnds() {
  last.what = "";
}
