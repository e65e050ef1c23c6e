"use strict";
// Draws layers source-over on a canvas: by the graphics processor where the browser has WebGL, else in two dimensions.
function paintPlain(canvas, [width, height], scale) {
  const pen = canvas.getContext("2d", { alpha: false });
  return {
    begin(colour) {
      pen.setTransform(scale, 0, 0, scale, 0, 0);
      pen.fillStyle = colour;
      pen.fillRect(0, 0, width, height);
    },
    layer({ image, rows: [from, to], rect: [, , , tall] }, x, top, wide) {
      // Whole rows of the picture: a part of one would be mixed with its neighbours.
      const { naturalWidth, naturalHeight } = image;
      const share = tall / naturalHeight;
      pen.drawImage(image, 0, from, naturalWidth, to - from, x, top + from * share, wide, (to - from) * share);
    },
  };
}

const CORNERS = `attribute vec2 corner; uniform vec4 place; uniform vec2 rows; varying vec2 at;
void main() {
  vec2 inside = vec2(corner.x, mix(rows.x, rows.y, corner.y));
  at = inside;
  vec2 there = place.xy + inside * place.zw;
  gl_Position = vec4(there.x * 2.0 - 1.0, 1.0 - there.y * 2.0, 0.0, 1.0);
}`;
const TEXELS = "precision mediump float; varying vec2 at; uniform sampler2D picture; void main() { gl_FragColor = texture2D(picture, at); }";

function programOf(gl) {
  const program = gl.createProgram();
  for (const [kind, text] of [[gl.VERTEX_SHADER, CORNERS], [gl.FRAGMENT_SHADER, TEXELS]]) {
    const shader = gl.createShader(kind);
    gl.shaderSource(shader, text);
    gl.compileShader(shader);
    gl.attachShader(program, shader);
  }
  gl.linkProgram(program);
  return gl.getProgramParameter(program, gl.LINK_STATUS) ? program : null;
}

// From where to where rows show anything: empty margins cost as much as fog.
function rowsOf(image) {
  const small = document.createElement("canvas");
  [small.width, small.height] = [64, image.naturalHeight];
  const pen = small.getContext("2d", { willReadFrequently: true });
  // The largest opacity of each row would need a longer look: what is thinned out to nothing by a narrow copy is drawn with a margin.
  pen.drawImage(image, 0, 0, 64, image.naturalHeight);
  const { data } = pen.getImageData(0, 0, 64, image.naturalHeight);
  const shows = (row) => data.subarray(row * 256, row * 256 + 256).some((code, at) => at % 4 === 3 && code > 0);
  let [first, last] = [0, image.naturalHeight - 1];
  while (first < last && !shows(first)) first += 1;
  while (last > first && !shows(last)) last -= 1;
  const margin = Math.ceil(image.naturalHeight / 40);
  return [Math.max(0, first - margin), Math.min(image.naturalHeight, last + 1 + margin)];
}

function paintQuick(canvas, [width, height], layers) {
  const gl = canvas.getContext("webgl", { alpha: false, antialias: false, depth: false, preserveDrawingBuffer: true });
  const program = gl && programOf(gl);
  const largest = gl?.getParameter(gl.MAX_TEXTURE_SIZE);
  if (!program || layers.some(({ image }) => Math.max(image.naturalWidth, image.naturalHeight) > largest)) return null;
  gl.useProgram(program);
  gl.bindBuffer(gl.ARRAY_BUFFER, gl.createBuffer());
  gl.bufferData(gl.ARRAY_BUFFER, new Float32Array([0, 0, 1, 0, 0, 1, 1, 1]), gl.STATIC_DRAW);
  gl.enableVertexAttribArray(gl.getAttribLocation(program, "corner"));
  gl.vertexAttribPointer(gl.getAttribLocation(program, "corner"), 2, gl.FLOAT, false, 0, 0);
  const [place, rows] = ["place", "rows"].map((name) => gl.getUniformLocation(program, name));
  gl.enable(gl.BLEND);
  gl.blendFunc(gl.ONE, gl.ONE_MINUS_SRC_ALPHA);
  gl.pixelStorei(gl.UNPACK_PREMULTIPLY_ALPHA_WEBGL, true);
  gl.pixelStorei(gl.UNPACK_COLORSPACE_CONVERSION_WEBGL, gl.NONE);
  for (const layer of layers) {
    layer.texture = gl.createTexture();
    gl.bindTexture(gl.TEXTURE_2D, layer.texture);
    gl.texImage2D(gl.TEXTURE_2D, 0, gl.RGBA, gl.RGBA, gl.UNSIGNED_BYTE, layer.image);
    for (const [name, value] of [["WRAP_S", "CLAMP_TO_EDGE"], ["WRAP_T", "CLAMP_TO_EDGE"], ["MIN_FILTER", "LINEAR"], ["MAG_FILTER", "LINEAR"]]) {
      gl.texParameteri(gl.TEXTURE_2D, gl[`TEXTURE_${name}`], gl[value]);
    }
  }
  return {
    gl,
    begin(colour) {
      const [red, green, blue] = [1, 3, 5].map((at) => parseInt(colour.slice(at, at + 2), 16) / 255);
      gl.viewport(0, 0, canvas.width, canvas.height);
      gl.clearColor(red, green, blue, 1);
      gl.clear(gl.COLOR_BUFFER_BIT);
    },
    layer(layer, x, top, wide) {
      gl.bindTexture(gl.TEXTURE_2D, layer.texture);
      gl.uniform4f(place, x / width, top / height, wide / width, layer.rect[3] / height);
      gl.uniform2f(rows, ...layer.rows.map((row) => row / layer.image.naturalHeight));
      gl.drawArrays(gl.TRIANGLE_STRIP, 0, 4);
    },
  };
}

// Most time of a frame, ms: a graphics processor that is imitated by the main one takes longer, and two dimensions are quicker then.
const FRAME = 8;
// The quicker of the two ways, and the canvas that it draws on: one that was asked for one kind of pen has no other.
function painterOf(canvas, stack) {
  for (const layer of stack.layers) layer.rows = rowsOf(layer.image);
  const quick = canvas.cloneNode();
  const pen = paintQuick(quick, stack.view, stack.layers);
  let time = Infinity;
  for (let turn = 0; pen && turn < 3; turn += 1) {
    const start = performance.now();
    pen.begin(stack.backdrop);
    for (const layer of stack.layers) pen.layer(layer, layer.rect[0], layer.rect[1], layer.rect[2]);
    // Reading a texel back waits until all is drawn.
    pen.gl.readPixels(0, 0, 1, 1, pen.gl.RGBA, pen.gl.UNSIGNED_BYTE, new Uint8Array(4));
    time = performance.now() - start;
  }
  if (time <= FRAME) {
    canvas.replaceWith(quick);
    return [quick, pen];
  }
  pen?.gl.getExtension("WEBGL_lose_context")?.loseContext();
  return [canvas, paintPlain(canvas, stack.view, stack.scale)];
}

