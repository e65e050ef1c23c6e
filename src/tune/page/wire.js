// The socket: messages out, each with a number; the state, the section and pictures in.
const heard = new Map();
let socket = null;
let stamp = 0;
/** When the input behind a message came, by the message's number, for the time from there to its picture. */
const begun = new Map();

/** Calls `work` with what the server says under `word`. */
export function on(word, work) {
  if (!heard.has(word)) heard.set(word, []);
  heard.get(word).push(work);
}

function tell(word, value, all) {
  for (const work of heard.get(word) ?? []) work(value, all);
}

/** Sends a message; `event` is the input that it comes from. Returns its number. */
export function send(message, event) {
  if (socket?.readyState !== WebSocket.OPEN) return 0;
  stamp += 1;
  begun.set(stamp, event?.timeStamp || performance.now());
  socket.send(JSON.stringify({ ...message, stamp }));
  return stamp;
}

/** Says that a picture is shown; times everything that it is the first to hold. */
export function shown(frame) {
  socket.send('{"do":"shown"}');
  const now = performance.now();
  for (const [number, start] of begun) {
    if (number > frame.stamp) break;
    begun.delete(number);
    if (frame.kind === 0 && !frame.settled) performance.measure("input to picture", { start, end: now });
  }
}

let draft = null;
/** Codes held to 0..255, from -256 on: cheaper than clamping each. */
const HELD = Uint8Array.from({ length: 768 }, (_, at) => Math.min(255, Math.max(0, at - 256)));
/** A draft's texels: green for each, then of every two by two how much more red there is, and how much more blue, halved, from 128 on. */
function unpacked(buffer, width, height) {
  if (draft?.width !== width || draft?.height !== height) draft = new ImageData(width, height);
  const from = new Uint8Array(buffer, 32);
  const to = new Uint32Array(draft.data.buffer);
  const across = (width + 1) >> 1;
  const planes = [width * height, width * height + across * ((height + 1) >> 1)];
  let at = 0;
  for (let y = 0; y < height; y += 1) {
    let red = planes[0] + (y >> 1) * across;
    let blue = planes[1] + (y >> 1) * across;
    for (let x = 0; x < width; x += 2) {
      const more = 2 * from[red];
      const bluer = 2 * from[blue];
      red += 1;
      blue += 1;
      for (const end = Math.min(x + 2, width) + y * width; at < end; at += 1) {
        const green = from[at];
        to[at] = 0xff000000 | (HELD[green + bluer] << 16) | (green << 8) | HELD[green + more];
      }
    }
  }
  return draft;
}

function read(buffer) {
  const head = new DataView(buffer);
  if (buffer.byteLength < 32 || head.getUint32(0) !== 0x666f6777) return;
  const [width, height] = [head.getUint32(8, true), head.getUint32(12, true)];
  tell("picture", {
    kind: head.getUint8(4), settled: head.getUint8(5) === 1, width, height,
    stamp: head.getUint32(16, true), turn: head.getUint32(20, true), camera: head.getFloat64(24, true),
    image: head.getUint8(6) === 1 ? unpacked(buffer, width, height) : new ImageData(new Uint8ClampedArray(buffer, 32, width * height * 4), width, height),
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

/** The name of the gesture that an edit of `what` belongs to: what follows closely on the same thing is the same gesture. */
export function gesture(what) {
  const now = performance.now();
  if (last.what !== what || now - last.at > 900) {
    gestures += 1;
    last = { what, at: now, name: `${run}-${gestures}` };
  }
  last.at = now;
  return last.name;
}

/** The gesture is over: what comes next is another step. */
export function gestureEnds() {
  last.what = "";
}
