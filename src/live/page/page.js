// Draws what the recorder says. It decides nothing: sentence, verdict and pitches come as they are shown.
import { codes, mayPress, refused, wire } from "/marks.js";
import { Tones } from "/tones.js";
import { Trace } from "/trace.js";

const at = (id) => document.getElementById(id);
const SILENT_MS = 4000;
const FIGURES_MS = 240;
const LEAST_PX = 15;
const SPOKEN_MS = 3000;
const TONES = { wait: "Wait", act: "Do this", good: "Good", trouble: "Trouble" };

// A button says what it is pressed for; the mark that it writes says what was done.
const DOES = {
  "cap off": "Take cap off", "cap on": "Put cap on", "engine off": "Stop engine", "engine on": "Start engine",
  "hoses swapped": "Swap hoses", "hoses direct": "Hoses back", "tee on": "T-piece: put both hoses on it", "tee off": "T-piece: take it off",
};

// One sensor has its hose on a side, which is called by its name.
function does(words, sides) {
  const side = /^on carb([12])$/.exec(words ?? "");
  return side ? `Hose is on ${sides[side[1] - 1].name}` : DOES[words];
}

const tones = new Tones();
const trace = new Trace(at("trace"));
let latest = null;
let heard = 0;
let figured = 0;
let shown = "";
let spoken = { words: "", at: -Infinity };
let wanted = false;

// Writes only what has changed: the screen reader and the layout are left alone else.
function put(id, words) {
  const element = at(id);
  if (element.textContent !== words) element.textContent = words;
}

function enable(id, on) {
  if (at(id).disabled === on) at(id).disabled = !on;
}

const capital = (words) => words.charAt(0).toUpperCase() + words.slice(1);

function clock(seconds) {
  const whole = Math.max(0, Math.floor(seconds));
  const two = (n) => String(n).padStart(2, "0");
  const [h, m, s] = [Math.floor(whole / 3600), Math.floor(whole / 60) % 60, whole % 60];
  return h ? `${h}:${two(m)}:${two(s)}` : `${m}:${two(s)}`;
}

function number(kpa, { per_kpa, decimals }) {
  // Nothing is shown as less than nothing.
  return kpa === null ? "\u2013" : (kpa * per_kpa).toFixed(decimals).replace(/^-(?=[0.]*$)/, "").replace("-", "\u2212");
}

// The largest letters that the slot holds, found once for every shape of sentence: a count-down keeps its size.
const sizes = new Map();
function fit(words) {
  const sentence = at("sentence");
  const slot = sentence.parentElement;
  const [wide, high] = [slot.clientWidth, slot.clientHeight];
  const shape = `${wide}x${high} ${words.replace(/\d+/g, "00")}`;
  let size = sizes.get(shape);
  if (size === undefined) {
    sentence.textContent = words.replace(/\d+/g, "00");
    let [small, large] = [LEAST_PX, Math.min(260, high)];
    // Each try is a layout of the slot. A letter takes about 0.6 of its size squared, so the search begins near its end.
    let next = Math.min(large, Math.sqrt(wide * high / (0.6 * words.length)));
    while (large > 1.02 * small) {
      sentence.style.fontSize = `${next}px`;
      const fits = sentence.scrollHeight <= high && sentence.scrollWidth <= wide;
      if (fits) small = next; else large = next;
      const half = Math.sqrt(small * large);
      next = fits ? Math.min(half, 1.1 * small) : Math.max(half, large / 1.1);
    }
    if (sizes.size > 200) sizes.clear();
    size = small;
    sizes.set(shape, size);
  }
  sentence.style.fontSize = `${size}px`;
  // What no size makes fit is scrolled, by the keyboard too.
  if (sentence.scrollHeight > high) slot.tabIndex = 0; else slot.removeAttribute("tabindex");
}

let fitted = "";
// A number and its unit stay on one line.
const bound = (words) => words.replace(/(\d) (%|s|min)(?=\W|$)/g, "$1\u00a0$2");

let said = null;
function say(sentenced) {
  said = sentenced;
  const { text: plain, detail, tone } = said;
  const text = bound(plain);
  const sentence = at("sentence");
  if (at("say").dataset.tone !== tone) {
    at("say").dataset.tone = tone;
    put("tone-word", TONES[tone]);
  }
  put("detail", detail ?? "");
  at("detail").classList.toggle("long", (detail?.length ?? 0) > 90);
  const shape = `${text.replace(/\d+/g, "0")}|${at("guide").hidden}`;
  if (shape !== fitted) { fitted = shape; fit(text); }
  if (sentence.textContent !== text) sentence.textContent = text;
  // A count-down is not read out second by second.
  const words = plain.replace(/\d+(\.\d+)? s\b/g, "some seconds");
  const now = performance.now();
  if (words !== spoken.words && now - spoken.at > SPOKEN_MS) {
    spoken = { words, at: now };
    put("spoken", plain);
  }
}

function figures(frame) {
  const [one, two] = frame.sides;
  const coarse = { ...frame.unit, decimals: Math.max(0, frame.unit.decimals - 1) };
  put("vac1", number(one.vacuum_kpa, coarse));
  put("vac2", number(two.vacuum_kpa, coarse));
  for (const id of ["name1", "screw-name1"]) put(id, one.name);
  for (const id of ["name2", "screw-name2"]) put(id, two.name);
  for (const id of ["under1", "under2"]) put(id, frame.matched ? "vacuum, matched" : "vacuum as read");
  put("rpm", frame.rpm === null ? "\u2013" : frame.rpm.toFixed(0));
  put("target", frame.idle_target_rpm === null ? "no idle target" : `idle target ${frame.idle_target_rpm.toFixed(0)}`);
  const names = `${one.name} less ${two.name}`;
  put("difference-name", names.length > 20 ? "Difference" : names);
  const d = frame.difference;
  put("difference", d ? number(d.value_kpa, frame.unit) : "\u2013");
  put("between", d ? `from ${number(d.low_kpa, frame.unit)} to ${number(d.high_kpa, frame.unit)}` : "not yet known");
  for (const unit of document.querySelectorAll(".pressure")) if (unit.textContent !== frame.unit.symbol) unit.textContent = frame.unit.symbol;
  at("trace").setAttribute("aria-label", d
    ? `${one.name} less ${two.name}: ${number(d.value_kpa, frame.unit)} ${frame.unit.symbol}, tolerance ${number(frame.tolerance_kpa, frame.unit)}`
    : "The difference is not yet known");
}

function link({ link, log, elapsed_s }) {
  at("link").dataset.state = link.state;
  const lost = link.lost === null ? "losses not counted" : link.lost ? `${link.lost} lost` : "none lost";
  const garbled = link.garbled ? `, ${link.garbled} garbled` : "";
  const rate = link.rate_hz === null ? "" : `${link.rate_hz.toFixed(0)} samples a second, `;
  const words = { up: `${rate}${lost}${garbled}`, waiting: "No samples yet", lost: "Link lost" };
  put("link-words", words[link.state]);
  put("file", log.trouble ?? log.file);
  put("clock", clock(elapsed_s));
}

function buttons({ buttons, marks, log, sides }) {
  for (const [id, idle] of [["cap", "Cap"], ["engine", "Engine"], ["hoses", "Hoses"]]) {
    put(id, does(buttons[id], sides) ?? idle);
    enable(id, log.recording && buttons[id] !== null);
  }
  for (const id of ["screw", "more"]) enable(id, log.recording);
  put("tee", DOES[buttons.tee] ?? "T-piece");
  at("tee").hidden = log.recording && buttons.tee === null;
  for (const [form, button, words] of [["seal-form", "release", buttons.release], ["jet-form", "jet-closed", buttons.jet_closed]]) {
    at(form).hidden = words !== null;
    at(button).hidden = words === null;
    put(button, capital(words ?? ""));
  }
  enable("undo", log.recording && buttons.undo !== null);
  put("undo-words", buttons.undo ?? "no mark");
  enable("stop", true);
  put("stop", log.recording ? "Stop recording" : "Begin another log");
  const shown = marks.map(([s, words]) => `${clock(s)}|${words}`).join("\n");
  if (at("past").dataset.shown === shown) return;
  at("past").dataset.shown = shown;
  at("past").replaceChildren(...marks.toReversed().map(([s, words]) => {
    const item = document.createElement("li");
    const time = document.createElement("time");
    time.textContent = clock(s);
    item.append(time, words);
    return item;
  }));
}

function items(id, words) {
  const list = at(id);
  if (list.dataset.shown === words.join("\n")) return;
  list.dataset.shown = words.join("\n");
  list.replaceChildren(...words.map((text) => Object.assign(document.createElement("li"), { textContent: text })));
}

let longest = 0;
function guide({ guide: given, log: { recording } }) {
  at("guide").hidden = !given;
  document.querySelector("main").classList.toggle("led", Boolean(given));
  const asks = given?.asks ?? [];
  const cautions = given?.cautions ?? [];
  at("list").hidden = asks.length + cautions.length === 0;
  document.querySelector("main").classList.toggle("listing", !at("list").hidden);
  items("asks", asks);
  items("cautions", cautions);
  if (!given) return;
  put("step", `Step ${given.step} of ${given.steps}`);
  put("left", given.left_s === null ? "" : `${Math.ceil(given.left_s)} s`);
  longest = given.left_s === null ? 0 : Math.max(longest, given.left_s);
  at("progress").classList.toggle("idle", given.left_s === null);
  at("progress").value = longest ? 1 - given.left_s / longest : 0;
  if (given.left_s === null || given.left_s < 0.1) longest = 0;
  enable("done", given.waits && recording);
  for (const id of ["again", "skip"]) enable(id, recording);
}

// A lesson brings parts of its own, which a recording does without.
let panel = null;
function teach(frame) {
  if (frame.lesson) panel ??= import("/lesson.js").then((module) => module.panel());
  panel?.then((panel) => panel.show(frame));
}

function show(frame) {
  guide(frame);
  say(frame.sentence);
  const now = performance.now();
  // Figures that change thirty times a second cannot be read.
  // With another sentence they change too, so that the two do not contradict each other.
  const shape = `${frame.log.recording}${frame.sentence.text.replace(/\d+/g, "0")}`;
  if (now - figured > FIGURES_MS || frame.anew || shape !== shown) {
    figured = now;
    shown = shape;
    figures(frame);
    link(frame);
    buttons(frame);
  }
  teach(frame);
  trace.draw();
  if (frame.heard_unix_ms !== null) document.dispatchEvent(new CustomEvent("drawn", { detail: frame.heard_unix_ms }));
}

const GONE = { text: "No connection to the recorder", detail: "It is tried again; look at the computer that records.", tone: "trouble" };
const EARLIER = { text: "This address is of an earlier run: open the new one", detail: "The recorder was begun again and has printed another address.", tone: "trouble" };

// Nobody answers, and nothing can be pressed. What a recording came to stays, if that was told before its end.
let away = false;
function unheard(why = GONE) {
  away = true;
  at("link").dataset.state = "lost";
  put("link-words", "No connection");
  tones.follow([null, null]);
  const ended = why === GONE && latest?.log.recording === false;
  say(ended ? { ...latest.sentence, detail: `No connection: the program has ended. ${latest.sentence.detail ?? ""}` } : why);
  if (latest) teach({ ...latest, anew: true, log: { ...latest.log, recording: false } });
  for (const button of document.querySelectorAll(".marks button, #guide button, #stop")) button.disabled = true;
}

// A refusal closes the stream for good; its status tells one of an earlier run from a server that is not there.
async function again() {
  const status = await fetch(`/${codes}`, { cache: "no-store" }).then((answer) => answer.status, () => 0);
  if (status === 403) unheard(EARLIER);
  setTimeout(listen, 1500);
}

function listen() {
  const stream = new EventSource(`/stream${codes}`);
  stream.onmessage = (event) => {
    heard = performance.now();
    if (away) refused("");
    away = false;
    latest = JSON.parse(event.data);
    trace.take(latest);
    tones.follow(latest.sides.map((side) => side.tone_hz));
    // Frames that come in a bunch, or to a page that is out of sight, are drawn once.
    if (wanted) return;
    wanted = true;
    requestAnimationFrame(() => { wanted = false; if (!away) show(latest); });
  };
  stream.onerror = () => {
    if (!away) unheard();
    if (stream.readyState === EventSource.CLOSED) again();
  };
}

function theme() {
  const choices = ["system", "light", "dark"];
  const system = matchMedia("(prefers-color-scheme: dark)");
  let choice = localStorage.getItem("theme") ?? "system";
  const apply = () => {
    const dark = choice === "dark" || (choice === "system" && system.matches);
    document.documentElement.dataset.theme = dark ? "dark" : "light";
    put("theme-word", { light: "day", dark: "night" }[choice] ?? "system");
    trace.colours();
    trace.draw();
  };
  system.addEventListener("change", apply);
  at("theme").addEventListener("click", () => {
    choice = choices[(choices.indexOf(choice) + 1) % choices.length];
    localStorage.setItem("theme", choice);
    apply();
  });
  apply();
}

function sound() {
  at("sound").addEventListener("click", () => {
    tones.switch(!tones.on);
    at("sound").setAttribute("aria-pressed", String(tones.on));
    put("sound", tones.on ? "Sound on" : "Sound off");
    at("volume-slot").classList.toggle("on", tones.on);
  });
  at("volume").addEventListener("input", () => { tones.volume = at("volume").value / 100; });
}

document.body.classList.toggle("looking", !mayPress);
theme();
sound();
wire(() => latest);
// The letters of a figure follow its sheet. Units of a container would do that without a script, but with them every
// layout takes Chromium 5 ms in place of 0.7.
const sheet = new ResizeObserver((sheets) => {
  for (const { target, contentRect: { width, height } } of sheets) {
    target.style.setProperty("--wide", `${width}px`);
    target.style.setProperty("--high", `${height}px`);
  }
});
for (const figure of document.querySelectorAll(".figure")) sheet.observe(figure);
new ResizeObserver(() => { fitted = ""; if (said) say(said); }).observe(at("sentence").parentElement);
setInterval(() => { if (!away && performance.now() - heard > SILENT_MS) unheard(); }, 1000);
listen();
