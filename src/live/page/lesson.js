// The panel of a lesson: what the class is asked, where the air goes, and what the instructor sets.
import { press } from "/marks.js";
import { Drawing, NARROW } from "/flows.js";

const at = (id) => document.getElementById(id);
const put = (id, words) => { if (at(id).textContent !== words) at(id).textContent = words; };
const tell = (what) => press({ press: "lesson", what });
// A slider that a hand is on, or has just left, does not follow what comes.
const HAND_MS = 900;
const SHOWN_MS = 240;

const LABELS = {
  seal_leak: () => "Leak of the crankcase seals",
  tract_leak: (side) => `Leak into the tract of ${side}`,
  stop: (side) => `Stop screw of ${side}`,
  mixture: () => "Mixture, both sides",
  hold: () => "Foot holds",
  offset: (side) => `Offset of sensor ${side}`,
  noise: (side) => `Noise of sensor ${side}`,
};

const decimals = (step) => (step >= 1 ? 0 : step >= 0.1 ? 1 : 2);
// Nothing is shown as less than nothing.
const minus = (words) => words.replace(/^-(?=[0.]*$)/, "").replace("-", "\u2212");
const amount = (value) => (Math.abs(value) < 0.002 ? "" : `${minus(value.toFixed(value < 1 ? 3 : 2))} g/s`);

function worded(knob) {
  if (knob.what === "hold" && knob.value === 0) return "foot off";
  return minus(`${knob.value.toFixed(decimals(knob.step))} ${knob.unit}`.trim());
}

// A row with a slider, and a button on either side for fingers.
class Slider {
  constructor(knob) {
    this.knob = knob;
    this.touched = -Infinity;
    this.row = document.createElement("div");
    this.row.className = "knob";
    const name = document.createElement("label");
    this.name = name;
    this.range = Object.assign(document.createElement("input"), { type: "range", min: knob.least, max: knob.most, step: knob.step });
    this.range.id = `knob-${knob.what}-${knob.side ?? 0}`;
    name.htmlFor = this.range.id;
    this.value = document.createElement("output");
    this.value.htmlFor = this.range.id;
    const coarse = Math.max(1, Math.round((knob.most - knob.least) / 24 / knob.step)) * knob.step;
    this.steps = [[-1, "\u2212", "less"], [1, "+", "more"]].map(([by, sign, word]) => {
      const button = Object.assign(document.createElement("button"), { type: "button", textContent: sign });
      button.dataset.word = word;
      button.addEventListener("click", () => { this.range.value = Number(this.range.value) + by * coarse; this.moved(); this.send(); });
      return button;
    });
    this.range.addEventListener("input", () => this.moved());
    this.range.addEventListener("change", () => this.send());
    this.row.append(name, this.steps[0], this.range, this.steps[1], this.value);
  }

  moved() {
    this.touched = performance.now();
    const words = worded({ ...this.knob, value: Number(this.range.value) });
    this.value.textContent = words;
    this.range.setAttribute("aria-valuetext", words);
  }

  send() {
    this.touched = performance.now();
    tell({ do: "set", what: this.knob.what, side: this.knob.side, value: Number(this.range.value) });
  }

  show(knob, name) {
    this.knob = knob;
    if (this.name.textContent !== name) {
      this.name.textContent = name;
      for (const button of this.steps) button.setAttribute("aria-label", `${name}: ${button.dataset.word}`);
    }
    this.row.classList.toggle("astray", knob.value !== knob.sound);
    if (performance.now() - this.touched < HAND_MS) return;
    if (Number(this.range.value) !== knob.value) this.range.value = knob.value;
    const words = worded(knob);
    if (this.value.textContent !== words) {
      this.value.textContent = words;
      this.range.setAttribute("aria-valuetext", words);
    }
  }
}

class Panel {
  constructor() {
    this.drawing = new Drawing(at("flows"));
    this.sliders = new Map();
    this.shown = -Infinity;
    this.latest = null;
    at("scenes").addEventListener("click", () => at("scenes-dialog").showModal());
    at("hide").addEventListener("click", () => tell({ do: "hide" }));
    at("answer").addEventListener("click", () => tell({ do: "answer" }));
    at("breather").addEventListener("click", () => {
      const blocked = at("breather").getAttribute("aria-pressed") === "true";
      tell({ do: "set", what: "breather", side: null, value: blocked ? 0 : 1 });
    });
    put("scale", `breather, leaks and gas drawn ${NARROW} times as wide`);
  }

  show(frame) {
    const lesson = frame.lesson;
    if (!lesson) return;
    this.drawing.show(lesson.flows, lesson.cylinders);
    const now = performance.now();
    // Figures that change thirty times a second cannot be read.
    if (now - this.shown < SHOWN_MS && !frame.anew) return;
    this.shown = now;
    this.ask(lesson, frame.log.recording);
    this.compare(frame, lesson);
    this.amounts(frame, lesson);
    this.choices(lesson, frame.log.recording);
    this.knobs(frame, lesson);
  }

  ask(lesson, recording) {
    const scene = lesson.scene ? `${lesson.scene} \u00b7 ${lesson.scenes[lesson.scene - 1]}` : null;
    put("ask-title", scene ?? (lesson.hidden ? "A hidden fault" : `${lesson.cylinders} cylinders in tune`));
    put("ask-question", lesson.question ?? "Choose a scene, hide a fault, or set something yourself.");
    put("ask-answer", lesson.answer ?? "");
    at("ask").dataset.answered = String(lesson.answer !== null);
    at("answer").disabled = !lesson.covered || !recording;
    for (const id of ["scenes", "hide"]) at(id).disabled = !recording;
    at("veil").hidden = !lesson.covered;
    at("rest").hidden = !lesson.covered;
  }

  compare(frame, lesson) {
    const { unit } = frame;
    const kpa = (value) => (value === null || value === undefined ? "\u2013" : minus((value * unit.per_kpa).toFixed(Math.max(0, unit.decimals - 1))));
    const whole = (value) => (value === null || value === undefined ? "\u2013" : minus(value.toFixed(0)));
    const predicted = lesson.predicted;
    put("m-rpm", whole(frame.rpm));
    put("p-rpm", whole(predicted?.rpm));
    for (const side of [0, 1]) {
      put(`c-name${side + 1}`, frame.sides[side].name);
      put(`f-name${side + 1}`, frame.sides[side].name);
      put(`m-vac${side + 1}`, kpa(frame.sides[side].vacuum_kpa));
      put(`p-vac${side + 1}`, kpa(predicted?.vac_kpa[side]));
    }
    const drop = lesson.drop;
    put("m-drop", whole(drop?.drop_rpm));
    put("p-drop", whole(predicted?.drop_rpm));
    const strays = predicted && !predicted.settled ? "The prediction does not come to rest: it is a mean." : "";
    put("compare-note", drop ? `Drop between ${whole(drop.low_rpm)} and ${whole(drop.high_rpm)}. ${strays}` : strays || "Take the cap off for 10 s and put it on again: the drop is measured.");
    for (const element of document.querySelectorAll(".compare .pressure")) if (element.textContent !== unit.symbol) element.textContent = unit.symbol;
  }

  amounts(frame, lesson) {
    const flows = lesson.flows;
    put("f-cap", lesson.cap_off ? "Filler cap off" : "Filler cap on");
    at("lid").classList.toggle("off", lesson.cap_off);
    const blocked = lesson.knobs.some((knob) => knob.what === "breather" && knob.value > 0);
    at("plug").classList.toggle("off", !blocked);
    for (const side of [0, 1]) {
      put(`f-slide${side + 1}`, flows ? amount(flows.slide[side]) : "");
      put(`f-leak${side + 1}`, flows ? amount(flows.leak[side]) : "");
      put(`f-mix${side + 1}`, flows && flows.drawn[side] > 0.01 ? `mixture ${flows.mixture[side].toFixed(2)}` : "");
    }
    put("f-filler", flows ? amount(flows.cap) : "");
    put("f-seals", flows ? amount(flows.seals) : "");
    put("f-breather", flows ? amount(flows.breather[0] + flows.breather[1]) : "");
    const { unit } = frame;
    const crank = flows ? Math.abs(flows.crank_kpa * unit.per_kpa).toFixed(unit.decimals) : "";
    const where = flows && (Math.abs(flows.crank_kpa) < 0.005 ? "at the atmosphere" : `${crank} ${unit.symbol} ${flows.crank_kpa > 0 ? "below" : "above"} the atmosphere`);
    put("f-crank", where || "");
    at("flows").setAttribute("aria-label", flows ? `Paths of the air; crankcase ${where}` : "Paths of the air, covered until the answer");
  }

  choices(lesson, recording) {
    const key = `${lesson.scenes.length}|${lesson.engines}`;
    if (this.latest !== key) {
      this.latest = key;
      at("scene-list").replaceChildren(...lesson.scenes.map((name, k) => {
        const button = Object.assign(document.createElement("button"), { type: "submit", value: "", textContent: `${k + 1} \u00b7 ${name}` });
        button.addEventListener("click", () => tell({ do: "scene", number: k + 1 }));
        return button;
      }));
      at("engines").replaceChildren(...lesson.engines.map((cylinders) => {
        const button = Object.assign(document.createElement("button"), { type: "button", textContent: String(cylinders) });
        button.dataset.cylinders = cylinders;
        button.setAttribute("aria-label", `${cylinders} cylinders, in tune`);
        button.addEventListener("click", () => tell({ do: "engine", cylinders }));
        return button;
      }));
    }
    for (const button of at("engines").children) {
      button.setAttribute("aria-pressed", String(Number(button.dataset.cylinders) === lesson.cylinders));
      button.disabled = !recording;
    }
  }

  knobs(frame, lesson) {
    const breather = lesson.knobs.find((knob) => knob.what === "breather");
    at("breather").disabled = !breather || !frame.log.recording;
    at("breather").setAttribute("aria-pressed", String(Boolean(breather && breather.value > 0)));
    put("breather", breather && breather.value > 0 ? "Free the breather" : "Block the breather");
    const wanted = lesson.knobs.filter((knob) => LABELS[knob.what]);
    const key = (knob) => `${knob.what}${knob.side ?? ""}`;
    for (const knob of wanted) {
      if (this.sliders.has(key(knob))) continue;
      const slider = new Slider(knob);
      this.sliders.set(key(knob), slider);
    }
    const rows = wanted.map((knob) => this.sliders.get(key(knob)).row);
    const now = [...at("knobs").children];
    if (now.length !== rows.length || now.some((row, k) => row !== rows[k])) at("knobs").replaceChildren(...rows);
    for (const { row } of this.sliders.values()) for (const part of row.querySelectorAll("input, button")) part.disabled = !frame.log.recording;
    for (const knob of wanted) {
      const side = knob.side ? frame.sides[knob.side - 1].name : "";
      this.sliders.get(key(knob)).show(knob, LABELS[knob.what](side));
    }
  }
}

export async function panel() {
  const style = Object.assign(document.createElement("link"), { rel: "stylesheet", href: "/lesson.css" });
  const styled = new Promise((done) => { style.onload = done; style.onerror = done; });
  document.head.append(style);
  const parts = new DOMParser().parseFromString(await (await fetch("/lesson.html")).text(), "text/html");
  await styled;
  const main = document.querySelector("main");
  for (const part of [...parts.body.children]) (part.tagName === "DIALOG" ? document.body : main).append(part);
  document.body.classList.add("lesson");
  return new Panel();
}
