// What is pressed. Every press goes as a POST with a header that no form of another site can send.
// The codes leave the address bar, which others may read or photograph; this tab keeps them, so that it can be
// loaded again. A page that was loaded without any needs none.
const KEPT = "codes";
if (location.search) {
  sessionStorage.setItem(KEPT, location.search);
  history.replaceState(null, "", location.pathname);
} else {
  sessionStorage.removeItem(KEPT);
}
export const codes = sessionStorage.getItem(KEPT) ?? "";
const query = new URLSearchParams(codes);
const code = query.get("press") ?? (query.has("see") ? null : "here");
// A finger that trembles presses once.
const TREMBLE_MS = 800;

export const mayPress = code !== null;

const REFUSED_MS = 10_000;
let fades = 0;
export function refused(words) {
  clearTimeout(fades);
  document.getElementById("refused").textContent = words;
  if (words) fades = setTimeout(() => refused(""), REFUSED_MS);
}

export async function press(what) {
  try {
    const answer = await fetch("/press", {
      method: "POST",
      headers: { "Content-Type": "application/json", "X-Evenbreath-Press": code ?? "" },
      body: JSON.stringify(what),
      signal: AbortSignal.timeout(4000),
    });
    refused(answer.ok ? "" : `Not written: ${await answer.text()}`);
    return answer.ok;
  } catch {
    refused("Not written: the recorder does not answer");
    return false;
  }
}

function onPress(id, what) {
  const button = document.getElementById(id);
  let last = -Infinity;
  button.addEventListener("click", async () => {
    if (performance.now() - last < TREMBLE_MS) return;
    last = performance.now();
    const asked = what(button);
    if (asked && await press(asked)) {
      button.classList.remove("wrote");
      void button.offsetWidth;
      button.classList.add("wrote");
    }
  });
}

const dialog = (id, write) => {
  const box = document.getElementById(`${id}-dialog`);
  // At once: the box says only later that it was closed, when it may be open again.
  box.querySelector("form").addEventListener("submit", () => write(box));
  // Not a button of the form: Enter in a field must write, and never leave.
  box.querySelector(".leave").addEventListener("click", () => box.close());
  return { open: () => box.showModal() };
};

export function turnsInWords(twelfths) {
  const [whole, rest] = [Math.floor(twelfths / 12), twelfths % 12];
  const parts = ["", "1/12", "1/6", "1/4", "1/3", "5/12", "1/2", "7/12", "2/3", "3/4", "5/6", "11/12"];
  const words = [whole ? String(whole) : "", parts[rest]].filter(Boolean).join(" ");
  return `${words} ${twelfths > 12 ? "turns" : "turn"}`;
}

function screw() {
  // What a person can set by the slot of a screw; half of it can still be read off.
  const SIXTH = 2;
  let twelfths = SIXTH;
  const turn = (by) => {
    twelfths = Math.max(1, Math.min(60, twelfths + by));
    document.getElementById("turns").textContent = turnsInWords(twelfths);
  };
  document.getElementById("less-turn").addEventListener("click", () => turn(-1));
  document.getElementById("more-turn").addEventListener("click", () => turn(1));
  const box = dialog("screw", (box) => {
    const given = new FormData(box.querySelector("form"));
    press({ press: "screw", side: Number(given.get("side")), twelfths: Number(given.get("way")) * twelfths });
  });
  document.getElementById("screw").addEventListener("click", () => { twelfths = SIXTH; turn(0); box.open(); });
}

function started() {
  const input = document.getElementById("start-name");
  const box = dialog("start", () => press({ press: "start", name: input.value.trim() }));
  return () => { input.value = ""; box.open(); };
}

// Marks that are made less often, or that need a word: each is written by its own button, and the box is left.
function others(latest) {
  const [box, at] = [document.getElementById("more-dialog"), (id) => document.getElementById(id)];
  const asks = (form, field, make) => at(form).addEventListener("submit", (event) => {
    event.preventDefault();
    const value = at(field).value.trim();
    if (!value) return;
    box.close();
    press(make(value));
  });
  asks("note-form", "note-text", (text) => ({ press: "note", text }));
  asks("seal-form", "seal-name", (name) => ({ press: "seal", name }));
  asks("jet-form", "jet-mm", (mm) => ({ press: "jet", mm: Number(mm) }));
  for (const [id, button] of [["release", "release"], ["jet-closed", "jet_closed"], ["tee", "tee"]]) {
    at(id).addEventListener("click", () => {
      const words = latest()?.buttons[button];
      box.close();
      if (words) press({ press: "mark", words });
    });
  }
  box.querySelector(".leave").addEventListener("click", () => box.close());
  at("more").addEventListener("click", () => {
    for (const id of ["note-text", "seal-name", "jet-mm"]) at(id).value = "";
    box.showModal();
  });
}

export function wire(latest) {
  for (const id of ["cap", "engine", "hoses"]) onPress(id, () => ({ press: "mark", words: latest()?.buttons[id] }));
  for (const id of ["undo", "done", "again", "skip"]) onPress(id, () => ({ press: id }));
  screw();
  others(latest);
  const start = started();
  const stop = dialog("stop", () => press({ press: "stop" }));
  document.getElementById("stop").addEventListener("click", () => (latest()?.log.recording === false ? start() : stop.open()));
}
