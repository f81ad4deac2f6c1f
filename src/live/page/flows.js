// Draws the flows of the engine: each arrow as wide as what flows through it.
const SPACE = "http://www.w3.org/2000/svg";
// Width of a gram a second on an engine of four cylinders, and how much wider the narrow ways are drawn.
const WIDTH = 13;
export const NARROW = 8;
const LEAST = 0.002;
const WIDEST = 104;
const WIDEST_NARROW = 62;

const make = (name, kind) => {
  const element = document.createElementNS(SPACE, name);
  element.setAttribute("class", kind);
  return element;
};

// A way that something flows: corners from where it comes to where it goes.
class Arrow {
  constructor(into, kind, corners, most) {
    this.corners = corners;
    this.most = most;
    this.shaft = make("path", `shaft ${kind}`);
    this.inner = make("path", "shaft share unmetered");
    this.head = make("path", `head ${kind}`);
    into.append(this.shaft, this.inner, this.head);
  }

  // `share` of it has met no jet.
  draw(flow, perFlow, share = 0) {
    const none = !(Math.abs(flow) >= LEAST);
    for (const part of [this.shaft, this.inner, this.head]) part.classList.toggle("none", none);
    if (none) return;
    const width = Math.min(this.most, Math.max(1.5, Math.abs(flow) * perFlow));
    const corners = flow > 0 ? this.corners : [...this.corners].reverse();
    const [end, before] = [corners.at(-1), corners.at(-2)];
    const far = Math.hypot(end[0] - before[0], end[1] - before[1]);
    const [ux, uy] = [(end[0] - before[0]) / far, (end[1] - before[1]) / far];
    const half = width / 2 + 7;
    const long = Math.min(far - 2, Math.max(14, half));
    const neck = [end[0] - ux * long, end[1] - uy * long];
    const way = [...corners.slice(0, -1), neck].map(([x, y]) => `${x.toFixed(1)} ${y.toFixed(1)}`).join("L");
    this.shaft.setAttribute("d", `M${way}`);
    this.shaft.setAttribute("stroke-width", width.toFixed(1));
    this.inner.setAttribute("d", `M${way}`);
    this.inner.setAttribute("stroke-width", (width * Math.max(0, Math.min(1, share))).toFixed(1));
    const at = (along, across) => `${(neck[0] + ux * along - uy * across).toFixed(1)} ${(neck[1] + uy * along + ux * across).toFixed(1)}`;
    this.head.setAttribute("d", `M${at(0, half)}L${at(long, 0)}L${at(0, -half)}z`);
  }
}

export class Drawing {
  constructor(svg) {
    const into = svg.querySelector("#arrows");
    this.into = svg;
    const sides = (left, right) => [left, right];
    const wide = (kind, corners) => new Arrow(into, kind, corners, WIDEST);
    const narrow = (kind, corners) => new Arrow(into, kind, corners, WIDEST_NARROW);
    this.drawn = sides(wide("metered", [[390, 244], [390, 398]]), wide("metered", [[810, 244], [810, 398]]));
    this.slide = sides(wide("metered", [[390, 62], [390, 232]]), wide("metered", [[810, 62], [810, 232]]));
    this.leak = sides(narrow("unmetered", [[150, 300], [352, 300]]), narrow("unmetered", [[1050, 300], [848, 300]]));
    this.seals = narrow("unmetered", [[1060, 613], [880, 613]]);
    this.cap = narrow("unmetered", [[100, 582], [330, 582]]);
    this.blowBy = sides(narrow("gas", [[330, 470], [330, 560]]), narrow("gas", [[870, 470], [870, 560]]));
    this.riser = narrow("gas", [[600, 552], [600, 214]]);
    this.breather = sides(narrow("gas", [[600, 187], [418, 187]]), narrow("gas", [[600, 187], [782, 187]]));
    this.cylinders = 0;
  }

  // One box a cylinder, under the tract that it draws from.
  boxes(count) {
    if (this.cylinders === count) return;
    this.cylinders = count;
    const each = 262 / (count / 2);
    this.into.querySelector("#cylinders").replaceChildren(...[282, 656].flatMap((from) => Array.from({ length: count / 2 }, (_, k) => {
      const box = make("rect", "cylinder");
      for (const [name, value] of [["x", from + k * each + 5], ["y", 412], ["width", each - 10], ["height", 60], ["rx", 6]]) box.setAttribute(name, value);
      return box;
    })));
  }

  show(flows, count) {
    this.boxes(count);
    const none = { slide: [0, 0], throttle: [0, 0], leak: [0, 0], drawn: [0, 0], breather: [0, 0], fresh: [0, 0], seals: 0, cap: 0, blow_by: 0 };
    const f = flows ?? none;
    const wide = WIDTH * 4 / count;
    const narrow = NARROW * wide;
    const share = (part, whole) => (whole > 0 ? part / whole : 0);
    for (const side of [0, 1]) {
      this.slide[side].draw(f.slide[side], wide);
      this.drawn[side].draw(f.drawn[side], wide, share(f.leak[side] + f.fresh[side], f.drawn[side]));
      this.leak[side].draw(f.leak[side], narrow);
      this.breather[side].draw(f.breather[side], narrow, share(f.fresh[side], f.breather[side]));
      this.blowBy[side].draw(f.blow_by / 2, narrow);
    }
    const [out, fresh] = [f.breather[0] + f.breather[1], f.fresh[0] + f.fresh[1]];
    this.riser.draw(out, narrow, share(fresh, out));
    this.seals.draw(f.seals, narrow);
    this.cap.draw(f.cap, narrow);
  }
}
