// Draws bodies with WebGL: shaded faces, thin edges, a grid on the floor; turns and zooms.
"use strict";

const FACES = {
  vertex: `#version 300 es
    uniform mat4 view; uniform mat4 body; in vec3 point; in vec3 normal; out vec3 facing;
    void main() {
      facing = mat3(body) * normal;
      gl_Position = view * (body * vec4(point, 1.0));
    }`,
  fragment: `#version 300 es
    precision mediump float;
    uniform vec3 colour; uniform vec3 light; uniform float share; in vec3 facing; out vec4 pixel;
    void main() {
      vec3 n = normalize(facing) * (gl_FrontFacing ? 1.0 : -1.0);
      pixel = vec4(colour * (0.60 + 0.42 * max(dot(n, light), 0.0)), share);
    }`,
};
const LINES = {
  vertex: `#version 300 es
    uniform mat4 view; uniform mat4 body; in vec3 point;
    void main() { gl_Position = view * (body * vec4(point, 1.0)); }`,
  fragment: `#version 300 es
    precision mediump float;
    uniform vec3 colour; uniform float share; out vec4 pixel;
    void main() { pixel = vec4(colour, share); }`,
};
const FIELD = 32 * Math.PI / 180, NEAR = 0.05, FAR = 120, GRID = 0.5;
const HIDDEN = 0.45; // of a body picked out is left to be seen through what stands before it

class Viewer {
  constructor(canvas, data, colours) {
    this.canvas = canvas;
    this.colours = colours;
    this.gl = canvas.getContext("webgl2", { antialias: true, preserveDrawingBuffer: true });
    if (!this.gl) throw new Error("no WebGL");
    this.faces = this.program(FACES, ["view", "body", "colour", "light", "share"]);
    this.lines = this.program(LINES, ["view", "body", "colour", "share"]);
    this.meshes = data.meshes.map((mesh) => this.mesh(mesh));
    this.span = this.bounds(data);
    this.grid = this.floor();
    this.camera = { turn: 0.6, rise: 0.5, far: 5, target: [0, 0, 1] };
    this.scene = { shown: [], picked: new Map(), mark: null };
    this.dirty = true;
    this.listen();
  }

  program(source, names) {
    const gl = this.gl, made = gl.createProgram();
    for (const [kind, text] of [[gl.VERTEX_SHADER, source.vertex],
      [gl.FRAGMENT_SHADER, source.fragment]]) {
      const shader = gl.createShader(kind);
      gl.shaderSource(shader, text);
      gl.compileShader(shader);
      gl.attachShader(made, shader);
    }
    gl.bindAttribLocation(made, 0, "point");
    gl.bindAttribLocation(made, 1, "normal");
    gl.linkProgram(made);
    if (!gl.getProgramParameter(made, gl.LINK_STATUS)) throw new Error(gl.getProgramInfoLog(made));
    const places = { made };
    for (const name of names) places[name] = gl.getUniformLocation(made, name);
    return places;
  }

  mesh(told) {
    const gl = this.gl, kind = told.short ? Uint16Array : Uint32Array;
    const points = unpacked(told.points, Float32Array);
    const triangles = unpacked(told.triangles, kind), edges = unpacked(told.edges, kind);
    const array = gl.createVertexArray();
    gl.bindVertexArray(array);
    this.attribute(0, points, gl.FLOAT);
    this.attribute(1, unpacked(told.normals, Int8Array), gl.BYTE);
    const index = gl.createBuffer(), both = new kind(triangles.length + edges.length);
    both.set(triangles);
    both.set(edges, triangles.length);
    gl.bindBuffer(gl.ELEMENT_ARRAY_BUFFER, index);
    gl.bufferData(gl.ELEMENT_ARRAY_BUFFER, both, gl.STATIC_DRAW);
    gl.bindVertexArray(null);
    const low = [Infinity, Infinity, Infinity], high = [-Infinity, -Infinity, -Infinity];
    points.forEach((v, k) => {
      low[k % 3] = Math.min(low[k % 3], v);
      high[k % 3] = Math.max(high[k % 3], v);
    });
    return { array, points, low, high, triangles: triangles.length, edges: edges.length,
      kind: told.short ? gl.UNSIGNED_SHORT : gl.UNSIGNED_INT,
      start: triangles.length * kind.BYTES_PER_ELEMENT };
  }

  attribute(place, values, kind) {
    const gl = this.gl;
    gl.bindBuffer(gl.ARRAY_BUFFER, gl.createBuffer());
    gl.bufferData(gl.ARRAY_BUFFER, values, gl.STATIC_DRAW);
    gl.enableVertexAttribArray(place);
    gl.vertexAttribPointer(place, 3, kind, kind === gl.BYTE, 0, 0);
  }

  // The box around all that stands still, but for what is part of the building.
  bounds(data) {
    const low = [Infinity, Infinity, 0], high = [-Infinity, -Infinity, 0.5];
    for (const body of data.bodies) {
      if (body.outline || body.link > 0) continue;
      this.corners(body, (point) => {
        for (let k = 0; k < 3; k++) {
          low[k] = Math.min(low[k], point[k]);
          high[k] = Math.max(high[k], point[k]);
        }
      });
    }
    return low[0] < high[0] ? { low, high } : { low: [-1, -1, 0], high: [1, 1, 1] };
  }

  corners(body, use) {
    const points = this.meshes[body.mesh].points, m = body.at || IDENTITY;
    for (let k = 0; k < points.length; k += 3) {
      const [x, y, z] = [points[k], points[k + 1], points[k + 2]];
      use([m[0] * x + m[1] * y + m[2] * z + m[3], m[4] * x + m[5] * y + m[6] * z + m[7],
        m[8] * x + m[9] * y + m[10] * z + m[11]]);
    }
  }

  floor() {
    const { low, high } = this.span, points = [];
    const from = low.map((v) => Math.floor((v - 0.4) / GRID));
    const to = high.map((v) => Math.ceil((v + 0.4) / GRID));
    for (let i = from[0]; i <= to[0]; i++) {
      points.push(i * GRID, from[1] * GRID, 0, i * GRID, to[1] * GRID, 0);
    }
    for (let j = from[1]; j <= to[1]; j++) {
      points.push(from[0] * GRID, j * GRID, 0, to[0] * GRID, j * GRID, 0);
    }
    return this.segments(new Float32Array(points));
  }

  segments(points) {
    const gl = this.gl, array = gl.createVertexArray();
    gl.bindVertexArray(array);
    this.attribute(0, points, gl.FLOAT);
    gl.bindVertexArray(null);
    return { array, count: points.length / 3 };
  }

  show(scene) {
    this.scene = scene;
    this.dirty = true;
  }

  // The whole cell in view, from the side given by a turn about the vertical [rad].
  home(turn, rise) {
    const { low, high } = this.span;
    this.camera = { turn, rise, far: 1, target: low.map((v, k) => (v + high[k]) / 2) };
    this.camera.far = this.distance(low, high);
    this.dirty = true;
  }

  // Look at a point from the side from which the least stands in front of it.
  lookAt(target, far) {
    const rays = [], before = this.camera;
    for (const rise of [0.5, 0.25, 0.85]) {
      for (let k = 0; k < 24; k++) rays.push({ turn: k * Math.PI / 12, rise });
    }
    const others = this.scene.shown.filter(
      (body) => !this.scene.picked.has(body.name) && !body.outline);
    let best = null;
    for (const ray of rays) {
      this.camera = { ...ray, far, target };
      const { eye } = this.axes(), away = Math.abs(Math.sin((ray.turn - before.turn) / 2));
      const hiding = others.filter((body) => this.hides(body, target, eye)).length;
      const cost = hiding + 0.3 * away + 0.3 * Math.abs(ray.rise - 0.5);
      if (!best || cost < best.cost) best = { cost, ...ray };
    }
    this.camera = { turn: best.turn, rise: best.rise, far, target };
    this.dirty = true;
  }

  // Whether the box around a body's points lies between a point and an eye far away.
  hides(body, point, eye) {
    const mesh = this.meshes[body.mesh], m = body.at;
    let from = 1e-4, to = Infinity;
    for (let k = 0; k < 3; k++) {
      const axis = [m[k], m[4 + k], m[8 + k]], size = dot(axis, axis);
      const start = dot(axis, point.map((v, i) => v - m[4 * i + 3])) / size;
      const rate = dot(axis, eye) / size;
      const [low, high] = [mesh.low[k], mesh.high[k]];
      if (Math.abs(rate) < 1e-9) {
        if (start < low || start > high) return false;
        continue;
      }
      const ends = [(low - start) / rate, (high - start) / rate];
      from = Math.max(from, Math.min(...ends));
      to = Math.min(to, Math.max(...ends));
    }
    return from < to;
  }

  // How far away a box is in view as a whole.
  distance(low, high) {
    const { eye, right, up } = this.axes(), aspect = this.aspect();
    const towards = eye, half = Math.tan(FIELD / 2);
    let far = 0.3;
    for (let k = 0; k < 8; k++) {
      const p = [0, 1, 2].map((i) => (k >> i & 1 ? high[i] : low[i]) - this.camera.target[i]);
      const depth = dot(p, towards);
      far = Math.max(far, depth + Math.abs(dot(p, right)) / (half * aspect),
        depth + Math.abs(dot(p, up)) / half);
    }
    return far * 1.03;
  }

  aspect() {
    return Math.max(this.canvas.clientWidth, 1) / Math.max(this.canvas.clientHeight, 1);
  }

  // Unit vectors from the target to the eye, to the right, and up in the picture.
  axes() {
    const { turn, rise } = this.camera, c = Math.cos(rise);
    const eye = [c * Math.cos(turn), c * Math.sin(turn), Math.sin(rise)];
    const right = [-Math.sin(turn), Math.cos(turn), 0];
    return { eye, right, up: cross(eye, right) };
  }

  matrix() {
    const { eye, right, up } = this.axes(), { target, far } = this.camera;
    const at = target.map((v, k) => v + far * eye[k]);
    const f = 1 / Math.tan(FIELD / 2), a = this.aspect();
    const d = (FAR + NEAR) / (NEAR - FAR), e = 2 * FAR * NEAR / (NEAR - FAR);
    const rows = [right.map((v) => v * f / a), up.map((v) => v * f), eye.map((v) => v * d),
      eye.map((v) => -v)];
    const w = rows.map((row, k) => -dot(row, at) + (k === 2 ? e : 0));
    const out = new Float32Array(16);
    for (let c = 0; c < 3; c++) for (let r = 0; r < 4; r++) out[4 * c + r] = rows[r][c];
    out.set(w, 12);
    return out;
  }

  // A point of the world in the picture, in CSS pixels; null behind the eye.
  project(point) {
    const m = this.matrix(), at = (r) => m[r] * point[0] + m[4 + r] * point[1] +
      m[8 + r] * point[2] + m[12 + r], w = at(3);
    if (w <= 0) return null;
    return [(at(0) / w + 1) / 2 * this.canvas.clientWidth,
      (1 - at(1) / w) / 2 * this.canvas.clientHeight];
  }

  frame() {
    if (!this.dirty) return false;
    this.dirty = false;
    const gl = this.gl, scale = Math.min(window.devicePixelRatio || 1, 2);
    const width = Math.round(this.canvas.clientWidth * scale);
    const height = Math.round(this.canvas.clientHeight * scale);
    if (this.canvas.width !== width || this.canvas.height !== height) {
      this.canvas.width = width;
      this.canvas.height = height;
    }
    gl.viewport(0, 0, width, height);
    gl.clearColor(...this.colours.paper, 1);
    gl.clear(gl.COLOR_BUFFER_BIT | gl.DEPTH_BUFFER_BIT);
    gl.enable(gl.DEPTH_TEST);
    gl.depthFunc(gl.LEQUAL);
    this.view = this.matrix();
    const picked = this.scene.shown.filter((body) => this.scene.picked.has(body.name));
    this.drawLines((draw) => draw(IDENTITY, this.colours.floor, 1, this.grid));
    this.drawFaces(this.scene.shown, 1);
    this.drawEdges(this.scene.shown, 1);
    gl.enable(gl.BLEND);
    gl.blendFunc(gl.SRC_ALPHA, gl.ONE_MINUS_SRC_ALPHA);
    gl.depthFunc(gl.GREATER);
    gl.depthMask(false);
    this.drawFaces(picked, HIDDEN);
    gl.depthMask(true);
    gl.disable(gl.BLEND);
    gl.depthFunc(gl.ALWAYS);
    if (this.scene.mark) this.drawMark(this.scene.mark);
    return true;
  }

  drawFaces(bodies, share) {
    const gl = this.gl, place = this.faces, { eye, right, up } = this.axes();
    const light = eye.map((v, k) => 0.62 * v - 0.28 * right[k] + 0.62 * up[k]);
    const size = Math.hypot(...light);
    gl.useProgram(place.made);
    gl.uniformMatrix4fv(place.view, false, this.view);
    gl.uniform3fv(place.light, light.map((v) => v / size));
    gl.uniform1f(place.share, share);
    gl.enable(gl.POLYGON_OFFSET_FILL);
    gl.polygonOffset(1, 1);
    for (const body of bodies) {
      if (body.outline) continue;
      const mesh = this.meshes[body.mesh];
      gl.uniformMatrix4fv(place.body, false, columns(body.at));
      gl.uniform3fv(place.colour, this.scene.picked.get(body.name) || this.colour(body));
      gl.bindVertexArray(mesh.array);
      gl.drawElements(gl.TRIANGLES, mesh.triangles, mesh.kind, 0);
    }
    gl.disable(gl.POLYGON_OFFSET_FILL);
  }

  colour(body) {
    const verdict = this.scene.verdicts && this.scene.verdicts.get(body.placement);
    return this.colours.verdicts[verdict] || this.colours.roles[body.role] ||
      this.colours.roles.fixed;
  }

  drawEdges(bodies, share) {
    const gl = this.gl;
    this.drawLines((draw) => {
      for (const body of bodies) draw(body.at, this.colours.edge, share, null, body.mesh);
    });
    gl.bindVertexArray(null);
  }

  drawLines(run) {
    const gl = this.gl, place = this.lines;
    gl.useProgram(place.made);
    gl.uniformMatrix4fv(place.view, false, this.view);
    run((at, colour, share, lines, mesh) => {
      gl.uniformMatrix4fv(place.body, false, columns(at));
      gl.uniform3fv(place.colour, colour);
      gl.uniform1f(place.share, share);
      if (lines) {
        gl.bindVertexArray(lines.array);
        gl.drawArrays(gl.LINES, 0, lines.count);
      } else {
        const { array, edges, kind, start } = this.meshes[mesh];
        gl.bindVertexArray(array);
        gl.drawElements(gl.LINES, edges, kind, start);
      }
    });
  }

  // A measured length or a shift: a cross at both ends and a line between.
  drawMark(mark) {
    const arm = 0.012 * this.camera.far, points = [...mark.start, ...mark.end];
    for (const end of [mark.start, mark.end]) {
      for (let k = 0; k < 3; k++) {
        for (const s of [-arm, arm]) points.push(...end.map((v, i) => v + (i === k ? s : 0)));
      }
    }
    const made = this.segments(new Float32Array(points));
    this.drawLines((draw) => draw(IDENTITY, this.colours.ink, 1, made));
    this.gl.deleteVertexArray(made.array);
  }

  turn(across, along) {
    this.camera.turn -= across;
    this.camera.rise = Math.min(Math.max(this.camera.rise + along, -0.2), 1.5706);
    this.dirty = true;
  }

  zoom(factor) {
    this.camera.far = Math.min(Math.max(this.camera.far * factor, 0.2), 40);
    this.dirty = true;
  }

  shift(across, down) {
    const { right, up } = this.axes();
    const scale = 2 * this.camera.far * Math.tan(FIELD / 2) / this.canvas.clientHeight;
    this.camera.target = this.camera.target.map(
      (v, k) => v + scale * (down * up[k] - across * right[k]));
    this.dirty = true;
  }

  listen() {
    const held = new Map(), canvas = this.canvas;
    const apart = () => {
      const [a, b] = [...held.values()];
      return Math.hypot(a[0] - b[0], a[1] - b[1]);
    };
    canvas.addEventListener("pointerdown", (event) => {
      canvas.setPointerCapture(event.pointerId);
      held.set(event.pointerId, [event.clientX, event.clientY]);
    });
    canvas.addEventListener("pointermove", (event) => {
      const before = held.get(event.pointerId);
      if (!before) return;
      const step = [event.clientX - before[0], event.clientY - before[1]];
      const wide = held.size === 2 ? apart() : 0;
      held.set(event.pointerId, [event.clientX, event.clientY]);
      if (wide) this.zoom(wide / Math.max(apart(), 1));
      else if (event.buttons & 6 || event.shiftKey) this.shift(...step);
      else this.turn(step[0] * 0.008, step[1] * 0.008);
    });
    const gone = (event) => held.delete(event.pointerId);
    canvas.addEventListener("pointerup", gone);
    canvas.addEventListener("pointercancel", gone);
    canvas.addEventListener("contextmenu", (event) => event.preventDefault());
    canvas.addEventListener("wheel", (event) => {
      if (document.activeElement !== canvas) return; // else the page scrolls, as one expects
      event.preventDefault();
      this.zoom(Math.exp(Math.sign(event.deltaY) * Math.min(Math.abs(event.deltaY), 100) * 0.0018));
    }, { passive: false });
    canvas.addEventListener("webglcontextlost", (event) => event.preventDefault());
    canvas.addEventListener("webglcontextrestored", () => window.location.reload());
    new ResizeObserver(() => { this.dirty = true; }).observe(canvas);
  }
}

function dot(a, b) {
  return a[0] * b[0] + a[1] * b[1] + a[2] * b[2];
}

function cross(a, b) {
  return [a[1] * b[2] - a[2] * b[1], a[2] * b[0] - a[0] * b[2], a[0] * b[1] - a[1] * b[0]];
}

const COLUMNS = new Float32Array(16);

// A pose's rows as the columns that the graphics library wants; good until the next call.
function columns(m) {
  for (let c = 0; c < 4; c++) {
    for (let r = 0; r < 3; r++) COLUMNS[4 * c + r] = m[4 * r + c];
    COLUMNS[4 * c + 3] = c === 3 ? 1 : 0;
  }
  return COLUMNS;
}
