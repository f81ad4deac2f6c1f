// The page in a real browser: what it shows, what it writes, and to whom it can be of use.
import assert from "node:assert/strict";
import { readFileSync } from "node:fs";
import { createRequire } from "node:module";
import { after, before, test } from "node:test";
import { endAll, open, record, sample } from "./recorder.mjs";

const axe = readFileSync(createRequire(import.meta.url).resolve("axe-core/axe.min.js"), "utf8");
const PATIENCE_MS = 30_000;
const UNEVEN = ["--model=uneven"];

let browser;
before(async () => { browser = await open(); });
after(endAll);

// A page at an address; what goes wrong in its scripts fails the test.
async function visit(url, options = {}) {
  const context = await browser.newContext({ viewport: { width: 1280, height: 800 }, bypassCSP: options.axe ?? false, ...options });
  const page = await context.newPage();
  page.setDefaultTimeout(PATIENCE_MS);
  const faults = [];
  page.on("pageerror", (error) => faults.push(error.message));
  page.on("console", (message) => { if (message.type() === "error" && !/ERR_|net::/.test(message.text())) faults.push(message.text()); });
  if (options.before) await page.addInitScript(options.before);
  await page.goto(url);
  return { page, faults, close: () => context.close() };
}

const sentence = (page, wanted) => page.waitForFunction((pattern) => new RegExp(pattern).test(document.getElementById("sentence").textContent.replaceAll("\u00a0", " ")), wanted);
const text = (page, id) => page.locator(`#${id}`).textContent();
const says = (page, id, words) => page.waitForFunction(([id, words]) => document.getElementById(id).textContent === words, [id, words]);

async function until(what, isSo) {
  const start = Date.now();
  while (!isSo()) {
    assert.ok(Date.now() - start < PATIENCE_MS, `waited in vain: ${what}`);
    await new Promise((done) => setTimeout(done, 20));
  }
}

test("the page follows a log that is played again, and its sentence changes when it should", async () => {
  const recorder = await record(["--replay", sample("balance-before.csv"), "--speed", "5"]);
  const { page, faults, close } = await visit(recorder.url);
  // Every sentence is noted when it comes: some last a second at this speed, and a busy machine may blink then.
  await page.evaluate(() => {
    const sentence = document.getElementById("sentence");
    window.said = [sentence.textContent];
    new MutationObserver(() => window.said.push(sentence.textContent)).observe(sentence, { childList: true, characterData: true, subtree: true });
  });
  await sentence(page, "^Rear passes 1[0-9] % more air: close Rear, open Front$");
  const said = await page.evaluate(() => window.said);
  const [first, then] = [/^(Engine off: wait|Zero known)/, /^Hold the speed steady$/].map((shape) => said.findIndex((words) => shape.test(words)));
  assert.ok(first >= 0 && first < then, `said: ${[...new Set(said)].join("; ")}`);
  assert.equal(await page.locator("#say").getAttribute("data-tone"), "act");
  assert.equal(await text(page, "tone-word"), "Do this");
  const [one, two, difference] = await Promise.all(["vac1", "vac2", "difference"].map(async (id) => Number((await text(page, id)).replace("\u2212", "-"))));
  assert.ok(one > 40 && one < 75 && two > 40 && two < 75, `${one} and ${two}`);
  assert.ok(difference > 3 && difference < 7, `${difference}`);
  assert.equal(await text(page, "name1"), "Front");
  assert.equal(await text(page, "target"), "idle target 850");
  await page.waitForFunction(() => document.getElementById("past").textContent.includes("hoses swapped"));
  assert.deepEqual(faults, []);
  await recorder.stop();
  await close();
});

test("an even engine is in tolerance", async () => {
  const recorder = await record(["--replay", sample("balance-after.csv"), "--speed", "8"]);
  const { page, close } = await visit(recorder.url);
  await sentence(page, "^In tolerance$");
  assert.equal(await page.locator("#say").getAttribute("data-tone"), "good");
  await recorder.stop();
  await close();
});

test("one sensor is led from side to side, and its button says where it is", async () => {
  const recorder = await record(["--replay", sample("balance-one-sensor.csv"), "--speed", "3"]);
  const { page, faults, close } = await visit(recorder.url);
  await sentence(page, "^Hose on Front: hold still, [0-9]+ s more$");
  await says(page, "hoses", "Hose is on Rear");
  const [one, two] = await Promise.all(["vac1", "vac2"].map((id) => text(page, id)));
  assert.ok(Number(one) > 40 && two === "\u2013", `${one} and ${two}`);
  assert.equal(await text(page, "under1"), "vacuum as read");
  await sentence(page, "^Put the hose on Rear, then mark it$");
  await sentence(page, "^Hose on Rear: hold still, [0-9]+ s more$");
  await page.locator("#more").click();
  assert.ok(await page.locator("#note-text").isVisible() && !(await page.locator("#tee").isVisible()), "one hose needs no T-piece");
  await page.locator("#more-dialog .leave").click();
  await sentence(page, "^Rear passes [0-9]+ % more air");
  await until("the last move of the log", () => recorder.marks().length === 6);
  await says(page, "hoses", "Hose is on Front");
  await page.locator("#hoses").click();
  await until("the side", () => recorder.marks().length === 7);
  assert.equal(recorder.marks().at(-1), "on carb1");
  assert.deepEqual(faults, []);
  await recorder.stop();
  await close();
});

test("buttons write marks that land in the log, and the last one can be undone", async () => {
  const recorder = await record(UNEVEN);
  const { page, faults, close } = await visit(recorder.url);
  await page.locator("#cap:enabled").click();
  await says(page, "cap", "Put cap on");
  await says(page, "undo-words", "cap off");
  await page.locator("#undo").click();
  await says(page, "cap", "Take cap off");
  await page.locator("#screw").click();
  await page.locator("#screw-dialog label", { hasText: "carburettor 2" }).click();
  await page.locator("#screw-dialog label", { hasText: "Closed" }).click();
  await page.locator("#more-turn").click();
  assert.equal(await text(page, "turns"), "1/4 turn");
  await page.locator("#screw-dialog button.main").click();
  await says(page, "undo-words", "screw 2 -0.25");
  await page.locator("#more").click();
  await page.locator("#note-text").fill("choke is off");
  await page.keyboard.press("Enter");
  await until("the note", () => recorder.marks().includes("note choke is off"));
  await page.locator("#more").click();
  await page.locator("#seal-name").fill("left hose");
  await page.keyboard.press("Enter");
  await until("the suspect", () => recorder.marks().includes("seal left hose"));
  await page.locator("#more").click();
  await page.locator("#release:visible").click();
  await page.locator("#more").click();
  await page.locator("#jet-mm").fill("1.5");
  await page.keyboard.press("Enter");
  await until("the jet", () => recorder.marks().includes("known leak 1.5 mm"));
  // A finger that trembles presses once.
  await page.locator("#engine").dblclick();
  await says(page, "engine", "Start engine");
  await until("engine off", () => recorder.marks().includes("engine off"));
  assert.deepEqual(recorder.marks(), ["cap off", "mistake cap off", "screw 2 -0.25", "note choke is off", "seal left hose", "release left hose", "known leak 1.5 mm", "engine off"]);
  await page.locator("#stop").click();
  await page.locator("#stop-dialog button.main").click();
  await page.waitForFunction(() => document.getElementById("stop").textContent === "Begin another log");
  assert.ok(await page.locator("#cap").isDisabled());
  await page.locator("#stop").click();
  await page.locator("#start-name").fill("afterwards");
  await page.locator("#start-dialog button.main").click();
  await page.waitForFunction(() => document.getElementById("file").textContent.endsWith("afterwards.csv"));
  await page.locator("#cap:enabled").waitFor();
  assert.deepEqual(faults, []);
  await recorder.stop();
  await close();
});

test("everything can be done with the keyboard alone", async () => {
  const recorder = await record(UNEVEN);
  const { page, close } = await visit(recorder.url);
  await page.locator("#cap:enabled").waitFor();
  const reach = async (id) => {
    for (let k = 0; k < 40; k++) {
      if (await page.evaluate(() => document.activeElement.id) === id) return;
      await page.keyboard.press("Tab");
    }
    assert.fail(`${id} cannot be reached`);
  };
  await reach("cap");
  const outline = await page.evaluate(() => getComputedStyle(document.activeElement).outlineWidth);
  assert.ok(parseFloat(outline) >= 3, `the focus is not seen: ${outline}`);
  await page.keyboard.press("Enter");
  await says(page, "cap", "Put cap on");
  await reach("screw");
  await page.keyboard.press("Space");
  await page.keyboard.press("ArrowDown");
  await page.keyboard.press("Tab");
  await page.keyboard.press("ArrowDown");
  await page.keyboard.press("Enter");
  await page.waitForFunction(() => !document.getElementById("screw-dialog").open);
  await page.keyboard.press("Space");
  await page.waitForFunction(() => document.getElementById("screw-dialog").open);
  await page.keyboard.press("Escape");
  await page.waitForFunction(() => !document.getElementById("screw-dialog").open);
  assert.equal(await page.evaluate(() => document.activeElement.id), "screw", "the focus comes back");
  await says(page, "undo-words", "screw 2 -0.1667");
  await reach("undo");
  await page.keyboard.press("Enter");
  await reach("stop");
  await reach("sound");
  await reach("theme");
  await page.keyboard.press("Enter");
  assert.equal(await text(page, "theme-word"), "day");
  await until("the marks", () => recorder.marks().length >= 3);
  assert.deepEqual(recorder.marks(), ["cap off", "screw 2 -0.1667", "mistake screw 2 -0.1667"]);
  await recorder.stop();
  await close();
});

test("a screw is written where its box is opened again at once", async () => {
  const recorder = await record(UNEVEN);
  const { page, close } = await visit(recorder.url);
  await page.locator("#screw:enabled").waitFor();
  await page.evaluate(() => {
    const [button, box] = ["screw", "screw-dialog"].map((id) => document.getElementById(id));
    button.click();
    box.querySelector("form").requestSubmit(box.querySelector(".main"));
    button.click();
  });
  await until("the mark", () => recorder.marks().length > 0);
  assert.deepEqual(recorder.marks(), ["screw 1 +0.1667"]);
  await recorder.stop();
  await close();
});

test("the page comes back when the recorder does, on the same port", async () => {
  const first = await record(UNEVEN);
  const { page, close } = await visit(first.url);
  await page.locator("#cap:enabled").waitFor();
  await first.stop("SIGKILL");
  await sentence(page, "^No connection to the recorder$");
  assert.equal(await page.locator("#say").getAttribute("data-tone"), "trouble");
  const second = await record(UNEVEN, { port: first.port });
  await page.waitForFunction((log) => document.getElementById("file").textContent === log, second.log);
  await page.locator("#cap:enabled").click();
  await until("the mark in the second log", () => second.marks().includes("cap off"));
  assert.equal(await page.evaluate(() => performance.getEntriesByType("navigation").length), 1);
  await second.stop();
  await close();
});

test("when the program has gone the page says so, is silent, and can be pressed no more", async () => {
  const recorder = await record(UNEVEN);
  const listen = () => {
    window.gains = [];
    const make = AudioContext.prototype.createGain;
    AudioContext.prototype.createGain = function () {
      const gain = make.call(this);
      window.gains.push(gain);
      return gain;
    };
  };
  const { page, faults, close } = await visit(recorder.url, { before: listen });
  await page.locator("#cap:enabled").waitFor();
  await page.locator("#sound").click();
  await page.waitForFunction(() => window.gains[0]?.gain.value > 0.02);
  await recorder.stop("SIGINT");
  await says(page, "link-words", "No connection");
  assert.match(await text(page, "detail"), /^No connection: the program has ended/);
  await page.waitForFunction(() => window.gains[0].gain.value < 0.001);
  for (const id of ["cap", "engine", "hoses", "screw", "more", "undo", "stop"]) assert.ok(await page.locator(`#${id}`).isDisabled(), id);
  assert.deepEqual(faults, []);
  await close();
});

test("what was not written is not said for ever", async () => {
  const first = await record(UNEVEN);
  const { page, close } = await visit(first.url);
  await page.locator("#cap:enabled").waitFor();
  await page.route("**/press", (route) => route.abort());
  await page.locator("#cap").click();
  await says(page, "refused", "Not written: the recorder does not answer");
  await first.stop("SIGKILL");
  await sentence(page, "^No connection to the recorder$");
  const second = await record(UNEVEN, { port: first.port });
  await page.locator("#cap:enabled").waitFor();
  await says(page, "refused", "");
  await page.clock.install();
  await page.locator("#screw:enabled").waitFor();
  await page.locator("#engine").click();
  await says(page, "refused", "Not written: the recorder does not answer");
  await page.clock.fastForward(11_000);
  await says(page, "refused", "");
  await second.stop();
  await close();
});

test("a shared page takes its codes out of the address, can be loaded again, and knows an address of an earlier run", async () => {
  const first = await record([...UNEVEN, "--share"]);
  const { page, faults, close } = await visit(first.urls[0]);
  await page.locator("#cap:enabled").waitFor();
  assert.equal(new URL(page.url()).search, "");
  await page.reload();
  await page.locator("#cap:enabled").click();
  await until("the mark", () => first.marks().includes("cap off"));
  assert.equal(new URL(page.url()).search, "");
  await first.stop();
  await says(page, "link-words", "No connection");
  const second = await record([...UNEVEN, "--share"], { port: first.port });
  const earlier = "^This address is of an earlier run: open the new one$";
  await sentence(page, earlier);
  assert.ok(await page.locator("#cap").isDisabled());
  for (const go of [() => page.reload(), () => page.goto(first.urls[0])]) {
    await go();
    await page.waitForFunction((words) => new RegExp(words).test(document.getElementById("why")?.textContent), earlier);
  }
  await page.goto(second.urls[0]);
  await page.locator("#cap:enabled").waitFor();
  // The browser itself speaks of each refusal.
  assert.deepEqual(faults.filter((words) => !words.includes("status of 403")), []);
  await second.stop();
  await close();
});

test("two tones follow the two vacuums, once they are asked for", async () => {
  const recorder = await record(UNEVEN);
  const listen = () => {
    window.voices = [];
    const make = AudioContext.prototype.createOscillator;
    AudioContext.prototype.createOscillator = function () {
      const voice = make.call(this);
      window.voices.push(voice);
      return voice;
    };
  };
  const { page, faults, close } = await visit(recorder.url, { before: listen });
  await page.locator("#cap:enabled").waitFor();
  assert.equal(await page.evaluate(() => window.voices.length), 0, "silent until it is asked for");
  await page.locator("#sound").click();
  assert.equal(await page.locator("#sound").getAttribute("aria-pressed"), "true");
  await page.waitForFunction(() => window.voices.length > 0 && window.voices[0].frequency.value > 441);
  const near = await page.waitForFunction(() => {
    const vacuum = [1, 2].map((side) => Number(document.getElementById(`vac${side}`).textContent));
    const pitch = window.voices.map((voice) => voice.frequency.value);
    // 220 Hz and 6 Hz a kilopascal; the figures are means of a second, the pitches of half a second.
    return pitch.every((hz, k) => Math.abs(hz - (220 + 6 * vacuum[k])) < 4) && { vacuum, pitch };
  });
  const { vacuum, pitch } = await near.jsonValue();
  assert.equal(pitch.length, 2);
  assert.ok(Math.abs((pitch[0] - pitch[1]) - 6 * (vacuum[0] - vacuum[1])) < 6, `${pitch} at ${vacuum}`);
  await page.locator("#sound").click();
  assert.equal(await page.locator("#sound").getAttribute("aria-pressed"), "false");
  assert.deepEqual(faults, []);
  await recorder.stop();
  await close();
});

test("a page for looking shows no buttons, and none that is not allowed", async () => {
  const recorder = await record([...UNEVEN, "--share"]);
  const { page, close } = await visit(recorder.urls[1]);
  await page.waitForFunction(() => document.getElementById("vac1").textContent !== "\u2013");
  assert.ok(await page.locator("text=For looking only").isVisible());
  for (const id of ["cap", "undo", "stop"]) assert.ok(await page.locator(`#${id}`).isHidden(), id);
  await page.goto(recorder.urls[0]);
  await page.locator("#cap:enabled").click();
  await until("the mark", () => recorder.marks().includes("cap off"));
  await recorder.stop();
  await close();
});

test("the guide leads, and 'done' goes on", async () => {
  const recorder = await record(["--replay", sample("breather-sealed.csv"), "--guide", "breather"]);
  const { page, close } = await visit(recorder.url);
  await page.locator("#done:enabled").waitFor();
  const step = await text(page, "step");
  assert.match(step, /^Step 1 of \d+$/);
  assert.ok(await page.locator("#cautions li").count() > 2, "the dangers are shown");
  await page.locator("#done").click();
  await page.waitForFunction((before) => document.getElementById("step").textContent !== before, step);
  await recorder.stop();
  await close();
});

// Contrast of 7:1 is the rule 'color-contrast-enhanced', which is off unless asked for.
const RULES = { runOnly: ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa", "best-practice", "wcag2aaa"] };
for (const scheme of ["light", "dark"]) {
  test(`axe-core finds nothing amiss (${scheme})`, async () => {
    const checked = [];
    const check = async (page, what) => {
      await page.evaluate(axe);
      const found = await page.evaluate((rules) => window.axe.run(document, rules), RULES);
      const wrong = found.violations.map((v) => `${v.id}: ${v.nodes.map((n) => `${n.target} ${n.any[0]?.message ?? ""}`).join("; ")}`);
      assert.deepEqual(wrong, [], what);
      assert.ok(found.passes.some((pass) => pass.id === "color-contrast-enhanced"), "contrast was not looked at");
      checked.push(what);
    };
    const options = { colorScheme: scheme, axe: true };
    for (const [args, wanted] of [
      [["--replay", sample("balance-before.csv"), "--speed", "5"], "^Rear passes"],
      [["--replay", sample("balance-after.csv"), "--speed", "8"], "^In tolerance"],
      [["--replay", sample("breather-sealed.csv"), "--guide", "breather"], "."],
    ]) {
      const recorder = await record(args);
      const { page, close } = await visit(recorder.url, options);
      await sentence(page, wanted);
      await page.locator("#screw:enabled").waitFor();
      await check(page, wanted);
      for (const id of ["screw", "more", "stop"]) {
        await page.locator(`#${id}`).click();
        await check(page, `${wanted} with the dialog of ${id}`);
        await page.keyboard.press("Escape");
      }
      await recorder.stop("SIGKILL");
      await sentence(page, "^No connection");
      await check(page, `${wanted}, then no connection`);
      await close();
    }
    assert.equal(checked.length, 15);
  });
}

// Every slot is looked at in every picture that the browser makes, while sentence, tone and figures change.
test("no slot moves when figures and sentences change", async () => {
  for (const viewport of [{ width: 390, height: 844 }, { width: 1024, height: 768 }, { width: 1920, height: 1080 }]) {
    const recorder = await record(["--replay", sample("balance-before.csv"), "--speed", "2"]);
    const { page, close } = await visit(recorder.url, { viewport });
    await page.locator("#cap:enabled").waitFor();
    await page.evaluate(() => {
      const slots = [...document.querySelectorAll("section, .tone, .words, .detail, .figure, .figure h2, .marks button, header, .switches, footer, #stop, canvas")];
      const places = () => slots.map((e) => { const b = e.getBoundingClientRect(); return [e.id || e.className || e.nodeName, b.x, b.y, b.width, b.height].join(" "); });
      const first = places();
      [window.moved, window.looks, window.sentences] = [[], 0, new Set()];
      const look = () => {
        window.looks++;
        window.sentences.add(document.getElementById("sentence").textContent);
        places().forEach((place, k) => { if (place !== first[k]) window.moved.push(`${first[k]} to ${place}`); });
        requestAnimationFrame(look);
      };
      look();
    });
    await sentence(page, "^Rear passes");
    await page.waitForTimeout(1000);
    const { moved, looks, sentences } = await page.evaluate(() => ({ moved: window.moved.slice(0, 5), looks: window.looks, sentences: [...window.sentences] }));
    assert.ok(looks > 60 && sentences.length > 2, `${looks} looks at ${sentences}`);
    assert.deepEqual(moved, [], `${viewport.width}`);
    const wide = await page.evaluate(() => document.documentElement.scrollWidth > innerWidth);
    assert.ok(!wide, `${viewport.width}: the page is wider than the window`);
    await recorder.stop();
    await close();
  }
});
