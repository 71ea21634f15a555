// Pictures of one clip by frame index: fetched from the server, neighbours ahead of need, kept in bounded memory.

const KEPT_PICTURES = 28; // decoded, some 8 MB each at 1080 lines
const KEPT_FILES = 700; // as they came, some 0.2 MB each
const AHEAD = 8;
const AT_ONCE = 3;

export class Frames {
  constructor(clip, count, onPicture) {
    this.clip = clip;
    this.count = count;
    this.onPicture = onPicture;
    this.files = new Map();
    this.pictures = new Map();
    this.busy = new Map();
    this.wanted = [];
    this.fault = null;
  }

  get(index) {
    const picture = this.pictures.get(index);
    if (picture) {
      this.pictures.delete(index);
      this.pictures.set(index, picture);
    }
    return picture || null;
  }

  // Ask for a frame and for those that will be wanted next, `stride` frames on.
  want(index, stride = 1, ahead = AHEAD) {
    const next = [index];
    for (let i = 1; i <= ahead; i += 1) {
      next.push(index + i * stride);
      if (i <= 3) next.push(index - i * stride);
    }
    this.wanted = [...new Set(next)].filter((i) => i >= 0 && i < this.count && !this.pictures.has(i));
    this.work();
  }

  async load(index) {
    // One frame for its own sake, such as a small picture beside others.
    const there = this.get(index);
    if (there) return there;
    if (!this.busy.has(index)) this.start(index);
    return this.busy.get(index);
  }

  work() {
    while (this.busy.size < AT_ONCE && this.wanted.length) {
      const index = this.wanted.shift();
      if (!this.busy.has(index) && !this.pictures.has(index)) this.start(index);
    }
  }

  start(index) {
    const job = this.fetch(index).finally(() => {
      this.busy.delete(index);
      this.work();
    });
    job.catch(() => {});
    this.busy.set(index, job);
  }

  async fetch(index) {
    let file = this.files.get(index);
    if (!file) {
      const answer = await fetch(`api/clip/${this.clip}/frame/${index}`);
      if (!answer.ok) {
        const said = await answer.json().catch(() => null);
        this.fault = said && said.error ? said.error.what : "the picture cannot be read";
        this.onPicture(index, null);
        throw new Error(this.fault);
      }
      file = await answer.blob();
      this.files.set(index, file);
      if (this.files.size > KEPT_FILES) this.files.delete(this.files.keys().next().value);
    }
    const picture = await createImageBitmap(file);
    this.fault = null;
    this.pictures.set(index, picture);
    while (this.pictures.size > KEPT_PICTURES) {
      const [oldest, dropped] = this.pictures.entries().next().value;
      this.pictures.delete(oldest);
      dropped.close();
    }
    this.onPicture(index, picture);
    return picture;
  }
}
