// Where everything is: forward kinematics of the arm, and who stands where at an instant.
// Matrices are 12 numbers, the first three rows of a pose, row by row; lengths in metres.
"use strict";

const IDENTITY = [1, 0, 0, 0, 0, 1, 0, 0, 0, 0, 1, 0];

function multiply(a, b) {
  const out = new Array(12);
  for (let r = 0; r < 12; r += 4) {
    for (let c = 0; c < 4; c++) {
      out[r + c] = a[r] * b[c] + a[r + 1] * b[4 + c] + a[r + 2] * b[8 + c];
    }
    out[r + 3] += a[r + 3];
  }
  return out;
}

// Rodrigues' rotation about a unit axis through a point of the parent's frame.
function turned(axis, angle, origin) {
  const [x, y, z] = axis, c = Math.cos(angle), s = Math.sin(angle), d = 1 - c;
  return [
    c + d * x * x, d * x * y - s * z, d * x * z + s * y, origin[0],
    d * x * y + s * z, c + d * y * y, d * y * z - s * x, origin[1],
    d * x * z - s * y, d * y * z + s * x, c + d * z * z, origin[2],
  ];
}

function unpacked(text, kind) {
  const raw = atob(text), bytes = new Uint8Array(raw.length);
  for (let k = 0; k < raw.length; k++) bytes[k] = raw.charCodeAt(k);
  return new kind(bytes.buffer);
}

class Motion {
  constructor(data) {
    this.data = data;
    this.arm = data.arm;
    this.width = data.arm.dof + 1;
    this.rows = unpacked(data.motion, Float32Array);
    this.taskOf = new Map();
    data.tasks.forEach((task, index) => task.placements.forEach((id) => this.taskOf.set(id, index)));
  }

  // Poses world_from_link of the base and all links.
  linkPoses(joints) {
    const poses = [this.arm.base];
    for (const link of this.arm.links) {
      const amount = link.multiplier * joints[link.source], [x, y, z] = link.origin;
      const [a, b, c] = link.axis;
      const local = link.slides
        ? [1, 0, 0, x + amount * a, 0, 1, 0, y + amount * b, 0, 0, 1, z + amount * c]
        : turned(link.axis, amount, link.origin);
      poses.push(multiply(poses[link.parent], local));
    }
    return poses;
  }

  seconds(task) {
    const last = task.segments[task.segments.length - 1];
    return last ? this.time(last.row + last.rows - 1) : 0;
  }

  time(row) {
    return this.rows[row * this.width];
  }

  // The segment under way at an instant, and the joints; a name settles which of two that meet.
  at(task, seconds, name) {
    if (!task.segments.length) return { joints: this.data.rest, segment: null };
    const holds = (s) => seconds <= this.time(s.row + s.rows - 1) + 1e-6;
    const named = task.segments.find(
      (s) => s.name === name && holds(s) && seconds >= this.time(s.row) - 1e-3);
    const segment = named || task.segments.find(holds) || task.segments[task.segments.length - 1];
    let low = segment.row, high = segment.row + segment.rows - 1;
    while (high - low > 1) {
      const middle = (low + high) >> 1;
      if (this.time(middle) <= seconds) low = middle; else high = middle;
    }
    const since = this.time(low), span = this.time(high) - since;
    const share = span > 0 ? Math.min(Math.max((seconds - since) / span, 0), 1) : 1;
    const joints = [];
    for (let k = 1; k < this.width; k++) {
      const from = this.rows[low * this.width + k], to = this.rows[high * this.width + k];
      joints.push(from + share * (to - from));
    }
    return { joints, segment };
  }

  // All bodies at an instant of a task: [{name, role, mesh, at, outline}].
  // wanted: with the cartons where they are to be put down, though nothing brings them there.
  scene(task, seconds, name, wanted) {
    const { joints, segment } = this.at(task, seconds, name);
    const poses = this.linkPoses(joints);
    const down = task.first + (segment ? segment.release : 0);
    const shown = [];
    for (const body of this.data.bodies) {
      if (body.pallet === task.pallet && body.since > down) continue;
      if (body.group !== undefined && !this.waits(body, task, segment)) continue;
      const at = body.link === undefined ? body.at : multiply(poses[body.link], body.at);
      shown.push({ name: body.name, role: body.role, mesh: body.mesh, at, outline: body.outline,
        placement: body.placement });
    }
    for (const carton of task.cartons) this.carton(carton, wanted ? null : segment, poses, shown);
    return { shown, joints, segment, poses, tool: poses[this.arm.flange] };
  }

  waits(body, task, segment) {
    if (body.group !== task.group) return false;
    if (!segment) return body.role === "queue";
    return Boolean(body.during >> this.data.segments.indexOf(segment.name) & 1);
  }

  // A carton of the group: on the tool, or where it is wanted when no motion brings it there.
  carton(carton, segment, poses, shown) {
    const entry = { name: carton.name, role: "carried", mesh: carton.mesh };
    if (segment && segment.carried.includes(carton.item)) {
      entry.at = multiply(poses[this.arm.flange], carton.at);
    } else if (!segment) {
      const place = this.data.bodies.find((body) => body.name === carton.name);
      entry.at = place ? place.at : carton.waits;
      entry.placement = place && place.placement;
    } else {
      return;
    }
    shown.push(entry);
  }
}
