// Shows bodies in 3D with three.js: shaded faces, thin edges, a grid on the floor.
"use strict";

const FIELD = 32, NEAR = 0.05, FAR = 120, GRID = 0.5; // [deg], [m]
const NEAREST = 0.2, FARTHEST = 40; // [m]: of the eye from what it looks at
const LOWEST = -0.2, STEEPEST = Math.PI / 2; // [rad]: how far up the eye may stand
const HIDDEN = 0.45; // of a body picked out is left to be seen through what stands before it

// Lit from over the viewer's left shoulder; less to compute than the library's own shading, for
// where there is no graphics card.
const SHADING = {
  vertexShader: `varying vec3 facing;
    void main() {
      facing = normalMatrix * normal;
      gl_Position = projectionMatrix * modelViewMatrix * vec4(position, 1.0);
    }`,
  fragmentShader: `uniform vec3 colour; uniform float share; varying vec3 facing;
    const vec3 light = vec3(-0.304, 0.674, 0.674);
    void main() {
      vec3 n = normalize(facing) * (gl_FrontFacing ? 1.0 : -1.0);
      gl_FragColor = vec4(colour * (0.60 + 0.42 * max(dot(n, light), 0.0)), share);
    }`,
};

class Viewer {
  constructor(canvas, data, colours) {
    const wanted = { antialias: true };
    const context = canvas.getContext("webgl2", wanted) || canvas.getContext("webgl", wanted);
    if (!context) throw new Error("no WebGL");
    this.canvas = canvas;
    this.colours = colours;
    this.renderer = new THREE.WebGLRenderer({ canvas, context });
    this.renderer.setClearColor(tone(colours.paper));
    this.world = new THREE.Scene();
    this.eye = new THREE.PerspectiveCamera(FIELD, 1, NEAR, FAR);
    this.eye.up.set(0, 0, 1);
    this.world.add(this.eye);
    this.materials = new Map();
    this.meshes = data.meshes.map(shape);
    this.bodies = []; // drawn things, used again from one instant to the next
    this.scene = { shown: [], picked: new Map(), mark: null };
    this.span = this.bounds(data);
    this.floor();
    this.mark = new THREE.LineSegments(new THREE.BufferGeometry(),
      this.material("mark", () => new THREE.LineBasicMaterial(
        { color: tone(colours.ink), depthTest: false, transparent: true })));
    this.mark.renderOrder = 3;
    this.mark.frustumCulled = false;
    this.world.add(this.mark);
    this.controls = this.steered();
    this.resized = this.dirty = true;
  }

  // Until it was clicked or tapped, wheel and fingers scroll the page as one expects.
  steered() {
    const { canvas } = this, inUse = (yes) => { controls.enabled = yes; };
    canvas.addEventListener("pointerdown", (event) => {
      if (event.pointerType === "mouse") canvas.focus({ preventScroll: true });
    });
    const controls = new THREE.OrbitControls(this.eye, canvas);
    Object.assign(controls, { enabled: false, minDistance: NEAREST, maxDistance: FARTHEST,
      minPolarAngle: Math.PI / 2 - STEEPEST, maxPolarAngle: Math.PI / 2 - LOWEST });
    controls.mouseButtons.MIDDLE = THREE.MOUSE.PAN;
    controls.addEventListener("change", () => { this.dirty = true; });
    canvas.style.touchAction = "";
    canvas.addEventListener("focus", () => inUse(true));
    canvas.addEventListener("blur", (event) => {
      inUse(canvas.closest("section").contains(event.relatedTarget));
    });
    canvas.addEventListener("webglcontextrestored", () => { this.dirty = true; });
    new ResizeObserver(() => { this.resized = this.dirty = true; }).observe(canvas);
    return controls;
  }

  // A material is made once.
  material(key, make) {
    if (!this.materials.has(key)) this.materials.set(key, make());
    return this.materials.get(key);
  }

  // The box around all that stands still, but for what is part of the building.
  bounds(data) {
    const span = new THREE.Box3(), one = new THREE.Box3();
    for (const body of data.bodies) {
      if (body.outline || body.link > 0) continue;
      span.union(one.copy(this.meshes[body.mesh].box).applyMatrix4(matrix(body.at || IDENTITY)));
    }
    if (span.isEmpty()) span.setFromArray([-1, -1, 0, 1, 1, 1]);
    return span.union(one.setFromArray([span.min.x, span.min.y, 0, span.max.x, span.max.y, 0.5]));
  }

  floor() {
    const points = [], from = (v) => Math.floor((v - 0.4) / GRID) * GRID;
    const to = (v) => Math.ceil((v + 0.4) / GRID) * GRID, { min, max } = this.span;
    for (let x = from(min.x); x <= to(max.x); x += GRID) {
      points.push(x, from(min.y), 0, x, to(max.y), 0);
    }
    for (let y = from(min.y); y <= to(max.y); y += GRID) {
      points.push(from(min.x), y, 0, to(max.x), y, 0);
    }
    const material = new THREE.LineBasicMaterial({ color: tone(this.colours.floor) });
    this.world.add(new THREE.LineSegments(segments(points), material));
  }

  show(scene) {
    this.scene = scene;
    this.dirty = true;
  }

  // The eye as angles about its target [rad], its distance [m], and the target.
  get camera() {
    const { target } = this.controls, way = this.eye.position.clone().sub(target);
    const far = way.length(), rise = Math.asin(Math.min(Math.max(way.z / far, -1), 1));
    return { turn: Math.atan2(way.y, way.x), rise, far, target: target.toArray() };
  }

  set camera({ turn, rise, far, target }) {
    const up = Math.min(Math.max(rise, LOWEST), STEEPEST - 1e-4); // straight down has no turn
    const c = Math.cos(up);
    this.controls.target.fromArray(target);
    this.eye.position.set(c * Math.cos(turn), c * Math.sin(turn), Math.sin(up)).multiplyScalar(far)
      .add(this.controls.target);
    this.controls.update();
    this.dirty = true;
  }

  // The middle of a body.
  middle(body) {
    const { box } = this.meshes[body.mesh];
    return box.getCenter(new THREE.Vector3()).applyMatrix4(matrix(body.at)).toArray();
  }

  // The whole cell in view, from the side given by a turn about the vertical [rad].
  home(turn, rise) {
    const middle = this.span.getCenter(new THREE.Vector3());
    this.camera = { turn, rise, far: 1, target: middle.toArray() };
    const way = new THREE.Vector3(), out = this.eye.matrixWorld.elements;
    this.eye.updateMatrixWorld();
    const axis = (k) => new THREE.Vector3(out[4 * k], out[4 * k + 1], out[4 * k + 2]);
    const half = Math.tan(FIELD * Math.PI / 360), aspect = this.aspect();
    let far = 0.3;
    for (let k = 0; k < 8; k++) {
      const { min, max } = this.span;
      way.set(k & 1 ? max.x : min.x, k & 2 ? max.y : min.y, k & 4 ? max.z : min.z).sub(middle);
      far = Math.max(far, way.dot(axis(2)) + Math.max(
        Math.abs(way.dot(axis(0))) / (half * aspect), Math.abs(way.dot(axis(1))) / half));
    }
    this.camera = { turn, rise, far: far * 1.03, target: middle.toArray() };
  }

  // Look at a point from the side from which the least stands in front of it.
  lookAt(target, far) {
    const before = this.camera, others = this.scene.shown.filter(
      (body) => !this.scene.picked.has(body.name) && !body.outline);
    const inverse = others.map((body) => matrix(body.at).invert());
    const ray = new THREE.Ray(), local = new THREE.Ray(), hit = new THREE.Vector3();
    let best = null;
    for (const rise of [0.5, 0.25, 0.85]) {
      for (let k = 0; k < 24; k++) {
        const turn = k * Math.PI / 12, c = Math.cos(rise);
        ray.direction.set(c * Math.cos(turn), c * Math.sin(turn), Math.sin(rise));
        ray.origin.fromArray(target).addScaledVector(ray.direction, 1e-4);
        const hiding = others.filter((body, n) => local.copy(ray).applyMatrix4(inverse[n])
          .intersectBox(this.meshes[body.mesh].box, hit)).length;
        const away = Math.abs(Math.sin((turn - before.turn) / 2));
        const cost = hiding + 0.3 * away + 0.3 * Math.abs(rise - 0.5);
        if (!best || cost < best.cost) best = { cost, turn, rise };
      }
    }
    this.camera = { turn: best.turn, rise: best.rise, far, target };
  }

  aspect() {
    return Math.max(this.canvas.clientWidth, 1) / Math.max(this.canvas.clientHeight, 1);
  }

  // A point of the world in the picture, in CSS pixels; null behind the eye.
  project(point) {
    this.eye.updateMatrixWorld();
    const seen = new THREE.Vector3(...point).applyMatrix4(this.eye.matrixWorldInverse);
    if (seen.z >= 0) return null;
    seen.applyMatrix4(this.eye.projectionMatrix);
    return [(seen.x + 1) / 2 * this.canvas.clientWidth,
      (1 - seen.y) / 2 * this.canvas.clientHeight];
  }

  frame() {
    if (!this.dirty) return false;
    this.dirty = false;
    if (this.resized) {
      this.resized = false;
      const scale = Math.min(window.devicePixelRatio || 1, 2);
      const { clientWidth: width, clientHeight: height } = this.canvas;
      this.renderer.setDrawingBufferSize(width, height, scale);
      this.eye.aspect = this.aspect();
      this.eye.updateProjectionMatrix();
    }
    this.arrange();
    this.renderer.render(this.world, this.eye);
    return true;
  }

  // Puts every body of the scene in its place; those not needed are hidden.
  arrange() {
    const { shown, picked, mark } = this.scene, edge = this.material("edge",
      () => new THREE.LineBasicMaterial({ color: tone(this.colours.edge) }));
    while (this.bodies.length < shown.length) this.bodies.push(this.body());
    this.bodies.forEach(({ faces, edges, ghost }, k) => {
      const body = shown[k];
      edges.visible = Boolean(body);
      faces.visible = edges.visible && !body.outline;
      ghost.visible = faces.visible && picked.has(body.name);
      if (!body) return;
      const colour = picked.get(body.name) || this.colour(body), mesh = this.meshes[body.mesh];
      faces.geometry = ghost.geometry = mesh.faces;
      edges.geometry = mesh.edges;
      edges.material = edge;
      faces.material = this.surface(colour, mesh.side, false);
      if (ghost.visible) ghost.material = this.surface(colour, mesh.side, true);
      place(faces.matrix, body.at);
    });
    this.mark.visible = Boolean(mark);
    if (mark) this.drawMark(mark);
  }

  body() {
    const faces = new THREE.Mesh(), edges = new THREE.LineSegments(), ghost = new THREE.Mesh();
    ghost.renderOrder = 2;
    for (const thing of [faces, edges, ghost]) {
      thing.matrixAutoUpdate = false;
      thing.matrix = faces.matrix;
      this.world.add(thing);
    }
    return { faces, edges, ghost };
  }

  surface(colour, side, behind) {
    const seen = behind ? { depthFunc: THREE.GreaterDepth, depthWrite: false, transparent: true }
      : {};
    const uniforms = { colour: { value: tone(colour) }, share: { value: behind ? HIDDEN : 1 } };
    return this.material(`${colour} ${side} ${behind}`, () => new THREE.ShaderMaterial(
      { ...SHADING, uniforms, side, polygonOffset: true, polygonOffsetFactor: 1,
        polygonOffsetUnits: 1, ...seen }));
  }

  colour(body) {
    const verdict = this.scene.verdicts && this.scene.verdicts.get(body.placement);
    return this.colours.verdicts[verdict] || this.colours.roles[body.role] ||
      this.colours.roles.fixed;
  }

  // A measured length or a shift: a cross at both ends and a line between.
  drawMark(mark) {
    const arm = 0.012 * this.camera.far, points = [...mark.start, ...mark.end];
    for (const end of [mark.start, mark.end]) {
      for (let k = 0; k < 3; k++) {
        for (const s of [-arm, arm]) points.push(...end.map((v, i) => v + (i === k ? s : 0)));
      }
    }
    this.mark.geometry.dispose();
    this.mark.geometry = segments(points);
  }

  turn(across, along) {
    const { turn, rise, ...rest } = this.camera;
    this.camera = { ...rest, turn: turn - across, rise: rise + along };
  }

  zoom(factor) {
    const { far, ...rest } = this.camera;
    this.camera = { ...rest, far: Math.min(Math.max(far * factor, NEAREST), FARTHEST) };
  }
}

function tone([red, green, blue]) {
  return new THREE.Color(red, green, blue);
}

// A pose told as its first three rows.
function place(into, at) {
  return into.set(...at, 0, 0, 0, 1);
}

function matrix(at) {
  return place(new THREE.Matrix4(), at);
}

function segments(points) {
  const made = new THREE.BufferGeometry();
  return made.setAttribute("position", new THREE.Float32BufferAttribute(points, 3));
}

// Faces and edges of a mesh, which share their points; and the box around it.
function shape(told) {
  const kind = told.short ? Uint16Array : Uint32Array;
  const points = new THREE.BufferAttribute(unpacked(told.points, Float32Array), 3);
  const normals = new THREE.BufferAttribute(unpacked(told.normals, Int8Array), 3, true);
  const part = (index) => new THREE.BufferGeometry().setAttribute("position", points)
    .setIndex(new THREE.BufferAttribute(unpacked(index, kind), 1));
  const faces = part(told.triangles).setAttribute("normal", normals);
  return { faces, edges: part(told.edges), box: new THREE.Box3().setFromBufferAttribute(points),
    side: told.closed ? THREE.FrontSide : THREE.DoubleSide };
}
