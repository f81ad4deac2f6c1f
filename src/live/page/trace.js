// The difference over the last minute: the tolerance as a band, the interval closing in, the running difference as a
// line, marks where they were made. All that moves is drawn anew with every frame; nothing grows.
const MINUTE_S = 60;
const GAP_S = 1;
const FOLLOWS_S = 3;
const LONGEST_MARK = 22;

export class Trace {
  constructor(canvas) {
    this.canvas = canvas;
    this.pen = canvas.getContext("2d", { alpha: false });
    // Band, grid and captions stand still: they are drawn once, and each frame begins with their picture. So are the
    // words of a mark: setting the font of a canvas makes the browser work out the style of the page.
    this.still = document.createElement("canvas");
    this.labels = new Map();
    this.points = [];
    this.closing = [];
    this.reach = 0;
    new ResizeObserver(() => { this.sized = false; this.draw(); }).observe(canvas);
    this.colours();
  }

  colours() {
    const style = getComputedStyle(document.documentElement);
    const of = (name) => style.getPropertyValue(`--${name}`).trim();
    this.ink = Object.fromEntries(["sheet", "ink", "quiet", "band", "band-edge", "closing", "grid", "edge"].map((name) => [name, of(name)]));
    this.family = getComputedStyle(document.body).fontFamily;
    this.drawn = "";
    this.labels.clear();
  }

  take(frame) {
    if (frame.anew) { this.points = []; this.closing = []; this.reach = 0; }
    for (const point of frame.trace) this.points.push(point);
    for (const step of frame.closing) this.closing.push(step);
    const from = frame.elapsed_s - MINUTE_S;
    const aged = (list) => { let k = 0; while (k < list.length && list[k][0] < from - 2) k++; if (k) list.splice(0, k); };
    aged(this.points);
    aged(this.closing);
    this.frame = frame;
  }

  // Half the height, kPa: the tolerance twice over, or what is seen; it grows at once and shrinks by steps.
  scale() {
    const tolerance = this.frame.tolerance_kpa;
    let seen = 0;
    for (const [, low, , high] of this.points) seen = Math.max(seen, Math.abs(low), Math.abs(high));
    let reach = 2 * tolerance;
    while (reach < 1.1 * seen && reach < 32 * tolerance) reach *= 1.5;
    if (reach > this.reach || reach < 0.6 * this.reach) this.reach = reach;
  }

  size() {
    const ratio = Math.min(window.devicePixelRatio || 1, 2);
    const { clientWidth, clientHeight } = this.canvas;
    this.canvas.width = Math.max(1, Math.round(clientWidth * ratio));
    this.canvas.height = Math.max(1, Math.round(clientHeight * ratio));
    this.ratio = ratio;
    this.wide = clientWidth;
    this.high = clientHeight;
    this.sized = true;
    this.drawn = "";
    this.labels.clear();
  }

  draw() {
    if (!this.sized) this.size();
    const { pen, wide, high, ink, frame } = this;
    pen.setTransform(this.ratio, 0, 0, this.ratio, 0, 0);
    if (!frame || wide < 40) {
      pen.fillStyle = ink.sheet;
      pen.fillRect(0, 0, wide, high);
      return;
    }
    this.scale();
    const letter = Math.max(14, Math.min(24, wide / 42));
    const place = { left: letter * 0.8, right: wide - letter * 5.6, top: letter * 2.1, bottom: high - letter * 2.1 };
    const middle = (place.top + place.bottom) / 2;
    this.x = (s) => place.right + (s - frame.elapsed_s) * (place.right - place.left) / MINUTE_S;
    this.y = (kpa) => middle - Math.max(-1.06, Math.min(1.06, kpa / this.reach)) * (middle - place.top);
    this.letter = letter;
    this.stand(place);
    pen.save();
    pen.setTransform(1, 0, 0, 1, 0, 0);
    pen.drawImage(this.still, 0, 0);
    pen.restore();
    pen.save();
    pen.beginPath();
    pen.rect(place.left, 0, place.right - place.left, high);
    pen.clip();
    this.interval();
    this.line();
    pen.restore();
    this.marks(place);
    this.bracket(place);
  }

  // Draws what stands still, where it is not as it was.
  stand(place) {
    const { frame, still, canvas, ratio, wide, high } = this;
    const as = JSON.stringify([this.reach, frame.tolerance_kpa, frame.unit, frame.sides.map((side) => side.name)]);
    if (as === this.drawn) return;
    this.drawn = as;
    [still.width, still.height] = [canvas.width, canvas.height];
    const pen = this.pen;
    this.pen = still.getContext("2d", { alpha: false });
    this.pen.setTransform(ratio, 0, 0, ratio, 0, 0);
    this.pen.fillStyle = this.ink.sheet;
    this.pen.fillRect(0, 0, wide, high);
    this.ground(place);
    this.captions(place);
    this.letters({ size: this.letter * 0.9 });
    this.belowEnds = place.left + this.pen.measureText(this.below()).width + this.letter;
    this.pen = pen;
  }

  letters({ align = "left", colour = this.ink.ink, size = this.letter } = {}) {
    const { pen } = this;
    pen.font = `600 ${size}px ${this.family}`;
    pen.textAlign = align;
    pen.textBaseline = "middle";
    pen.fillStyle = colour;
  }

  text(words, x, y, how) {
    this.letters(how);
    this.pen.fillText(words, x, y);
  }

  shown(kpa) {
    const { per_kpa, decimals } = this.frame.unit;
    return (kpa * per_kpa).toFixed(decimals).replace("-", "\u2212");
  }

  ground(place) {
    const { pen, ink, frame, letter } = this;
    const tolerance = frame.tolerance_kpa;
    const [upper, lower] = [this.y(tolerance), this.y(-tolerance)];
    pen.fillStyle = ink.band;
    pen.fillRect(place.left, upper, place.right - place.left, lower - upper);
    pen.strokeStyle = ink["band-edge"];
    pen.lineWidth = 2;
    pen.setLineDash([8, 6]);
    for (const y of [upper, lower]) this.stroke([[place.left, y], [place.right, y]]);
    pen.setLineDash([]);
    pen.strokeStyle = ink.edge;
    pen.lineWidth = 1.5;
    this.stroke([[place.left, this.y(0)], [place.right, this.y(0)]]);
    pen.strokeStyle = ink.grid;
    for (let s = 10; s < MINUTE_S; s += 10) {
      const x = this.x(frame.elapsed_s - s);
      this.stroke([[x, place.top], [x, place.bottom]]);
    }
    const ticks = letter * 0.85;
    for (const kpa of [tolerance, -tolerance]) this.text(this.shown(kpa), place.right + letter * 2.1, this.y(kpa), { size: ticks, colour: ink["band-edge"] });
    if (Math.abs(upper - this.y(0)) > ticks) this.text("0", place.right + letter * 2.1, this.y(0), { size: ticks });
  }

  stroke(points) {
    const { pen } = this;
    pen.beginPath();
    points.forEach(([x, y], k) => (k ? pen.lineTo(x, y) : pen.moveTo(x, y)));
    pen.stroke();
  }

  // The 95 % interval as it was after each judgement, from one to the next as long as they follow.
  interval() {
    const { pen, ink, closing, frame } = this;
    pen.fillStyle = ink.closing;
    pen.strokeStyle = ink.edge;
    pen.lineWidth = 1.5;
    let run = [];
    const close = (until) => {
      if (!run.length) return;
      const steps = [...run, [until, run.at(-1)[1], run.at(-1)[2]]];
      const edge = (side) => steps.map((step) => [this.x(step[0]), this.y(step[side])]);
      const [low, high] = [edge(1), edge(2)];
      pen.beginPath();
      [...high, ...low.reverse()].forEach(([x, y], k) => (k ? pen.lineTo(x, y) : pen.moveTo(x, y)));
      pen.globalAlpha = 0.65;
      pen.fill();
      pen.globalAlpha = 1;
      this.stroke(high);
      this.stroke(low);
      run = [];
    };
    for (const step of closing) {
      if (run.length && step[0] - run.at(-1)[0] > FOLLOWS_S) close(run.at(-1)[0]);
      run.push(step);
    }
    if (run.length) close(Math.min(frame.elapsed_s, run.at(-1)[0] + FOLLOWS_S));
  }

  line() {
    const { pen, ink, points } = this;
    pen.strokeStyle = ink.ink;
    pen.lineWidth = Math.max(2.5, this.letter / 6);
    pen.lineJoin = "round";
    pen.beginPath();
    let before = -Infinity;
    for (const [at, , value] of points) {
      const [x, y] = [this.x(at), this.y(value)];
      at - before > GAP_S ? pen.moveTo(x, y) : pen.lineTo(x, y);
      before = at;
    }
    pen.stroke();
  }

  // The words of a mark as a picture, with their width.
  label(words) {
    const kept = this.labels.get(words);
    if (kept) return kept;
    const size = this.letter * 0.8;
    const pen = this.pen;
    const picture = document.createElement("canvas");
    this.pen = picture.getContext("2d");
    this.letters({ size });
    const width = this.pen.measureText(words).width;
    const high = 2 * size;
    [picture.width, picture.height] = [Math.ceil(width * this.ratio), Math.ceil(high * this.ratio)];
    this.pen.setTransform(this.ratio, 0, 0, this.ratio, 0, 0);
    this.text(words, 0, high / 2, { size });
    this.pen = pen;
    const label = { picture, width, high };
    if (this.labels.size > 100) this.labels.clear();
    this.labels.set(words, label);
    return label;
  }

  marks(place) {
    const { pen, ink, frame, letter } = this;
    // The caption below has its place first.
    let free = this.belowEnds;
    pen.strokeStyle = ink.ink;
    pen.lineWidth = 2;
    for (const [at, words] of frame.marks) {
      const x = this.x(at);
      if (x < place.left || x > place.right) continue;
      this.stroke([[x, place.bottom - letter], [x, place.bottom + letter * 0.3]]);
      // Long words stand in the list of marks.
      if (words.length > LONGEST_MARK) continue;
      const { picture, width, high } = this.label(words);
      const left = Math.max(place.left, Math.min(x - width / 2, place.right - width));
      if (left < free) continue;
      pen.drawImage(picture, left, place.bottom + letter * 1.05 - high / 2, picture.width / this.ratio, picture.height / this.ratio);
      free = left + width + letter;
    }
  }

  // The interval of now, beside the trace.
  bracket(place) {
    const { pen, ink, frame, letter } = this;
    if (!frame.difference) return;
    const { low_kpa, value_kpa, high_kpa } = frame.difference;
    const [x, half] = [place.right + letter * 1.05, letter * 0.55];
    const [low, value, high] = [low_kpa, value_kpa, high_kpa].map(this.y);
    pen.strokeStyle = ink.ink;
    pen.lineWidth = Math.max(3, letter / 5);
    this.stroke([[x - half, high], [x + half, high]]);
    this.stroke([[x - half, low], [x + half, low]]);
    this.stroke([[x, high], [x, low]]);
    pen.fillStyle = ink.ink;
    pen.beginPath();
    pen.arc(x, value, letter * 0.34, 0, 2 * Math.PI);
    pen.fill();
  }

  // As much of some words as has room, in the letters that are set.
  cut(words, room) {
    const { pen } = this;
    if (pen.measureText(words).width <= room) return words;
    let end = words.length;
    while (end > 1 && pen.measureText(`${words.slice(0, end)}\u2026`).width > room) end--;
    return `${words.slice(0, end).trimEnd()}\u2026`;
  }

  below() {
    return this.cut(`\u2193 higher vacuum: ${this.frame.sides[1].name}`, this.wide - 1.6 * this.letter);
  }

  captions(place) {
    const { frame, letter, ink } = this;
    const one = frame.sides[0].name;
    const size = letter * 0.9;
    this.letters({ size });
    this.text(this.cut(`\u2191 higher vacuum: ${one}`, place.right - place.left - 3 * letter), place.left, letter * 1.05, { size });
    this.text(frame.unit.symbol, this.wide - letter * 0.8, letter * 1.05, { size, align: "right", colour: ink.quiet });
    this.letters({ size });
    this.text(this.below(), place.left, this.high - letter * 1.05, { size });
    this.text("now", place.right, letter * 1.05, { size, align: "right", colour: ink.quiet });
  }
}
