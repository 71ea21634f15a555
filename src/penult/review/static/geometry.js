// From runway metres to pixels of the picture, and what can be read off a body. Pure: no page is touched here.

export function project(camera, point) {
  // The pinhole of the lane file with its radial distortion; null for points that the lens cannot show.
  const { r, t, f, k, c } = camera;
  const [x, y, z] = point;
  const ahead = r[6] * x + r[7] * y + r[8] * z + t[2];
  if (!(ahead > 0.05)) return null;
  const u = (r[0] * x + r[1] * y + r[2] * z + t[0]) / ahead;
  const v = (r[3] * x + r[4] * y + r[5] * z + t[1]) / ahead;
  const radius2 = u * u + v * v;
  const bend = 1 + radius2 * (k[0] + radius2 * k[1]);
  return [c[0] + f * u * bend, c[1] + f * v * bend];
}

export class Motion {
  // The joints and paths of one result, by frame.
  constructor(data) {
    this.data = data;
    this.joints = new Map(data.skeleton.joints.map((name, k) => [name, k]));
    this.rowOf = new Map(data.track.frames.map((frame, row) => [frame, row]));
  }

  row(frame) {
    const row = this.rowOf.get(frame);
    return row === undefined ? -1 : row;
  }

  nearestRow(frame) {
    const frames = this.data.track.frames;
    return Math.min(Math.max(frame - frames[0], 0), frames.length - 1);
  }

  camera(row) {
    const cameras = this.data.cameras;
    return cameras.length === 1 ? cameras[0] : cameras[Math.max(row, 0)];
  }

  px(row, name) {
    const k = this.joints.get(name);
    const [x, y] = this.data.track.px[row].slice(2 * k, 2 * k + 2);
    return x === null || y === null ? null : [x, y];
  }

  m(row, name) {
    const k = this.joints.get(name);
    const [x, y] = this.data.track.m[row].slice(2 * k, 2 * k + 2);
    return x === null || y === null ? null : [x, y, this.data.track.z[k]];
  }

  middleM(row, part) {
    const left = this.m(row, `left_${part}`);
    const right = this.m(row, `right_${part}`);
    return left && right ? [(left[0] + right[0]) / 2, (left[1] + right[1]) / 2, 0] : null;
  }

  hipM(row) {
    const [x, y] = this.data.track.hip[row];
    return x === null || y === null ? null : [x, y, 0];
  }

  massM(row) {
    const [x, y] = this.data.track.mass[row];
    return x === null || y === null ? null : [x, y, 0];
  }

  contact(number) {
    return this.data.contacts.find((c) => c.number === number) || null;
  }

  contactAt(time) {
    // The contact whose foot bears at that time.
    return this.data.contacts.find((c) => c.span_s[0] <= time && time <= c.span_s[1]) || null;
  }

  legInQuestion(time) {
    // The leg that bears or, in flight, the one that lands next; after the last contact, the last.
    const { contacts } = this.data;
    return contacts.find((c) => time <= c.span_s[1]) || contacts[contacts.length - 1] || null;
  }
}

export function frameNear(times, time) {
  let low = 0;
  let high = times.length - 1;
  while (high - low > 1) {
    const middle = (low + high) >> 1;
    if (times[middle] <= time) low = middle;
    else high = middle;
  }
  return time - times[low] <= times[high] - time ? low : high;
}

export function timeAt(times, position) {
  // The time of a frame position; between two frames evenly, beyond the ends with the last interval.
  const last = times.length - 1;
  const at = Math.min(Math.max(Math.floor(position), 0), last - 1);
  return times[at] + (position - at) * (times[at + 1] - times[at]);
}

export function positionAt(times, time) {
  const last = times.length - 1;
  let at = frameNear(times, time);
  if (at > 0 && times[at] > time) at -= 1;
  at = Math.min(at, last - 1);
  return at + (time - times[at]) / (times[at + 1] - times[at]);
}

export const middle = (a, b) => [(a[0] + b[0]) / 2, (a[1] + b[1]) / 2];
export const clamp = (value, low, high) => Math.min(Math.max(value, low), high);
