// What is pressed. Every press goes as a POST with a header that no form of another site can send.
const query = new URLSearchParams(location.search);
const code = query.get("press") ?? (query.has("see") ? null : "here");
// A finger that trembles presses once.
const TREMBLE_MS = 800;

export const mayPress = code !== null;

const refused = (words) => { document.getElementById("refused").textContent = words; };

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
  box.addEventListener("close", () => { if (box.returnValue === "write") write(box); box.returnValue = ""; });
  // Not a button of the form: Enter in a field must write, and never leave.
  box.querySelector(".leave").addEventListener("click", () => box.close(""));
  return { open: () => { box.returnValue = ""; box.showModal(); } };
};

export function turnsInWords(eighths) {
  const [whole, rest] = [Math.floor(eighths / 8), eighths % 8];
  const parts = { 1: "1/8", 2: "1/4", 3: "3/8", 4: "1/2", 5: "5/8", 6: "3/4", 7: "7/8" };
  const words = [whole ? String(whole) : "", rest ? parts[rest] : ""].filter(Boolean).join(" ");
  return `${words} ${eighths > 8 ? "turns" : "turn"}`;
}

function screw() {
  let eighths = 1;
  const turn = (by) => {
    eighths = Math.max(1, Math.min(40, eighths + by));
    document.getElementById("turns").textContent = turnsInWords(eighths);
  };
  document.getElementById("less").addEventListener("click", () => turn(-1));
  document.getElementById("more").addEventListener("click", () => turn(1));
  const box = dialog("screw", (box) => {
    const given = new FormData(box.querySelector("form"));
    press({ press: "screw", side: Number(given.get("side")), eighths: Number(given.get("way")) * eighths });
  });
  document.getElementById("screw").addEventListener("click", () => { eighths = 1; turn(0); box.open(); });
}

function written(id, field, make) {
  const input = document.getElementById(field);
  const box = dialog(id, () => { const asked = make(input.value.trim()); if (asked) press(asked); });
  return () => { input.value = ""; box.open(); };
}

export function wire(latest) {
  for (const id of ["cap", "engine", "hoses"]) onPress(id, () => ({ press: "mark", words: latest()?.buttons[id] }));
  for (const id of ["undo", "done", "again", "skip"]) onPress(id, () => ({ press: id }));
  screw();
  const note = written("note", "note-text", (text) => text && { press: "note", text });
  document.getElementById("note").addEventListener("click", note);
  const start = written("start", "start-name", (name) => ({ press: "start", name }));
  const stop = dialog("stop", () => press({ press: "stop" }));
  document.getElementById("stop").addEventListener("click", () => (latest()?.log.recording === false ? start() : stop.open()));
}
