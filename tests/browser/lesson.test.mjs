// The page of a lesson in a real browser: what the class sees, and what the instructor sets.
import assert from "node:assert/strict";
import { existsSync, readFileSync } from "node:fs";
import { createRequire } from "node:module";
import { after, before, test } from "node:test";
import { endAll, hold, open } from "./recorder.mjs";

const axe = readFileSync(createRequire(import.meta.url).resolve("axe-core/axe.min.js"), "utf8");
const PATIENCE_MS = 30_000;

let browser;
before(async () => { browser = await open(); });
after(endAll);

const text = (path) => (existsSync(path) ? readFileSync(path, "utf8") : "");

async function visit(url, options = {}) {
  const context = await browser.newContext({ viewport: { width: 1920, height: 1080 }, bypassCSP: options.axe ?? false, ...options });
  const page = await context.newPage();
  page.setDefaultTimeout(PATIENCE_MS);
  const faults = [];
  page.on("pageerror", (error) => faults.push(error.message));
  page.on("console", (message) => { if (message.type() === "error" && !/ERR_|net::/.test(message.text())) faults.push(message.text()); });
  await page.goto(url);
  await page.waitForSelector("#ask");
  return { page, faults, close: () => context.close() };
}

const says = (page, id, pattern) => page.waitForFunction(([id, pattern]) => new RegExp(pattern).test(document.getElementById(id).textContent), [id, pattern]);
const width = (page, kind, k) => page.locator(`#arrows .shaft.${kind}`).nth(k).evaluate((shaft) => (shaft.classList.contains("none") ? 0 : Number(shaft.getAttribute("stroke-width"))));

async function until(what, isSo) {
  const start = Date.now();
  while (!(await isSo())) {
    assert.ok(Date.now() - start < PATIENCE_MS, `waited in vain: ${what}`);
    await new Promise((done) => setTimeout(done, 20));
  }
}

test("a leak is set by its slider, drawn as wide as it flows, and predicted beside what is measured", async () => {
  const lesson = await hold(["--speed", "5"]);
  const { page, faults, close } = await visit(lesson.urls[0]);
  await says(page, "engine", "^Start engine$");
  await page.locator("#engine:enabled").click();
  await says(page, "p-vac2", "^5[67]");
  await says(page, "m-vac2", "^5[5-8]");
  const more = page.getByRole("button", { name: /^Leak into the tract of carburettor 2: more$/ });
  await more.click();
  await says(page, "f-leak2", "^0\\.0[01]\\d g/s$");
  const slider = page.getByRole("slider", { name: /^Leak into the tract of carburettor 2$/ });
  await slider.fill("2");
  await says(page, "f-leak2", "^0\\.5\\d\\d g/s$");
  await says(page, "p-vac2", "^50");
  await says(page, "m-vac2", "^(49|50|51)");
  // Thirteen pixels for a gram a second, and eight times as much for the narrow ways.
  const flow = Number((await page.locator("#f-leak2").textContent()).split(" ")[0]);
  const leaks = await page.locator("#arrows path.shaft.unmetered:not(.none, .share)").evaluateAll((shafts) => shafts.filter((shaft) => / 300\.0/.test(shaft.getAttribute("d"))).map((shaft) => Number(shaft.getAttribute("stroke-width"))));
  assert.equal(leaks.length, 1, "one leak is drawn");
  assert.ok(Math.abs(leaks[0] - 13 * 8 * flow) < 3, `${leaks[0]} px for ${flow} g/s`);
  assert.ok((await width(page, "metered", 0)) > 20, "the air of a cylinder is drawn");
  await page.locator("#cap:enabled").click();
  await says(page, "f-cap", "^Filler cap off$");
  await says(page, "f-filler", "^0\\.[3-6]\\d\\d g/s$");
  await until("the marks", () => /,note leak into tract 2: 2 mm\n[^]*,cap off\n/.test(text(lesson.log)));
  assert.deepEqual(faults, []);
  await lesson.stop();
  await close();
});

test("a scene asks, and shows its answer on a second press, with what was covered", async () => {
  const lesson = await hold(["--speed", "5"]);
  const { page, faults, close } = await visit(lesson.urls[0]);
  await page.locator("#scenes:enabled").click();
  await page.locator("#scene-list button").nth(1).click();
  await says(page, "ask-title", "^2 · The cap makes no difference$");
  await says(page, "ask-question", "How would you tell");
  assert.equal(await page.locator("#ask-answer").textContent(), "");
  assert.ok(await page.locator("#veil").isVisible());
  assert.equal(await page.locator("#knobs .knob").count(), 1, "the foot alone");
  await page.locator("#engine:enabled").click();
  await says(page, "m-rpm", "^8\\d\\d$");
  assert.equal(await page.locator("#p-rpm").textContent(), "\u2013");
  await page.locator("#answer:enabled").click();
  await says(page, "ask-answer", "^Air is getting in");
  assert.ok(!(await page.locator("#veil").isVisible()));
  await says(page, "p-drop", "^4$");
  await says(page, "f-crank", "below the atmosphere$");
  await until("the second log", () => /,note shown: leak of the crankcase seals 6 mm\n/.test(text(lesson.log.replace(".csv", "-2.csv"))));
  await page.locator("#hide:enabled").click();
  await says(page, "ask-title", "^A hidden fault$");
  await page.locator("#engines button", { hasText: "8" }).click();
  await says(page, "ask-title", "^8 cylinders in tune$");
  await until("eight cylinders", async () => (await page.locator("#cylinders rect").count()) === 8);
  assert.deepEqual(faults, []);
  await lesson.stop();
  await close();
});

test("whoever only looks sees the lesson and has no controls", async () => {
  const lesson = await hold(["--share", "--scene", "4"]);
  const here = (url) => url.replace(/\/\/[^:/]+:/, "//127.0.0.1:");
  const looking = lesson.urls.find((url) => !url.includes("press="));
  const { page, close } = await visit(here(looking));
  await says(page, "ask-question", "which screw");
  for (const id of ["scenes", "answer", "breather", "engine"]) assert.ok(!(await page.locator(`#${id}`).isVisible()), id);
  await lesson.stop();
  await close();
});

test("the lesson works by keyboard alone and has no fault that axe knows", async () => {
  const lesson = await hold(["--speed", "5"]);
  const { page, close } = await visit(lesson.urls[0], { axe: true });
  const slider = page.getByRole("slider", { name: /^Stop screw of carburettor 1$/ });
  await slider.focus();
  for (let k = 0; k < 4; k++) await page.keyboard.press("ArrowLeft");
  await until("the mark", () => /,note stop screw 1 at 96 % of its opening\n/.test(text(lesson.log)));
  await page.locator("#scenes").focus();
  await page.keyboard.press("Enter");
  await page.keyboard.press("Tab");
  await page.evaluate(axe);
  for (const theme of ["light", "dark"]) {
    await page.evaluate((theme) => { document.documentElement.dataset.theme = theme; }, theme);
    for (const closed of [false, true]) {
      if (closed) await page.evaluate(() => document.getElementById("scenes-dialog").close());
      else await page.evaluate(() => { const box = document.getElementById("scenes-dialog"); if (!box.open) box.showModal(); });
      const found = await page.evaluate(() => window.axe.run({ runOnly: ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "best-practice"] }));
      assert.deepEqual(found.violations.map((v) => `${theme} ${v.id}: ${v.nodes.map((n) => n.html).join(" ").slice(0, 400)}`), []);
    }
  }
  await lesson.stop();
  await close();
});
