// How soon a sample is on the screen, and what the page costs.
import assert from "node:assert/strict";
import { after, test } from "node:test";
import { endAll, open, record, sample } from "./recorder.mjs";

const SECONDS = 10;

after(endAll);

async function cpuSeconds(session) {
  const { processInfo } = await session.send("SystemInfo.getProcessInfo");
  const of = (type) => processInfo.filter((one) => one.type === type).reduce((sum, one) => sum + one.cpuTime, 0);
  return { renderer: of("renderer"), gpu: of("GPU"), browser: of("browser") };
}

test("a page is light, is painted at once, and fetches nothing from elsewhere", async () => {
  const recorder = await record(["--model"]);
  const browser = await open();
  const page = await browser.newPage();
  const bodies = [];
  const elsewhere = [];
  page.on("request", (request) => { if (!request.url().startsWith(recorder.url)) elsewhere.push(request.url()); });
  page.on("response", (response) => { if (!response.url().includes("/stream")) bodies.push(response.body()); });
  await page.goto(recorder.url);
  await page.locator("#cap:enabled").waitFor();
  const weight = (await Promise.all(bodies)).reduce((sum, body) => sum + body.length, 0);
  const paint = await page.evaluate(() => performance.getEntriesByName("first-contentful-paint")[0].startTime);
  console.log(`page weight ${weight} bytes; first contentful paint ${paint.toFixed(0)} ms`);
  assert.ok(weight > 10_000 && weight < 150_000, `${weight} bytes`);
  assert.ok(paint < 500, `${paint} ms`);
  assert.deepEqual(elsewhere, []);
  await browser.close();
  await recorder.stop();
});

// Three browsers, as three people would have, on a recording at 1 kHz; each page is in sight.
async function threePages(before) {
  const recorder = await record(["--replay", sample("balance-1khz.csv")]);
  const browsers = [await open(), await open(), await open()];
  const pages = [];
  for (const browser of browsers) {
    const page = await browser.newPage({ viewport: { width: 1280, height: 800 } });
    await page.addInitScript(() => {
      window.drawn = 0;
      document.addEventListener("drawn", () => { window.drawn++; });
    });
    if (before) await page.addInitScript(before);
    await page.goto(recorder.url);
    await page.waitForFunction(() => window.drawn > 5);
    pages.push(page);
  }
  const close = async () => {
    for (const browser of browsers) await browser.close();
    await recorder.stop();
  };
  return { browsers, pages, close };
}

test("at 1 kHz and with three pages a sample is on the screen within 100 ms", async () => {
  const { pages, close } = await threePages(() => {
    window.waits = [];
    document.addEventListener("drawn", ({ detail }) => {
      // The frame that was drawn is shown before the next one is asked for.
      requestAnimationFrame(() => window.waits.push(performance.timeOrigin + performance.now() - detail));
    });
  });
  await Promise.all(pages.map((page) => page.evaluate(() => { window.waits = []; })));
  await pages[0].waitForTimeout(1000 * SECONDS);
  const waits = (await Promise.all(pages.map((page) => page.evaluate(() => window.waits)))).flat().sort((a, b) => a - b);
  const at = (share) => waits[Math.floor((waits.length - 1) * share)];
  console.log(`${waits.length} frames: oldest sample to screen median ${at(0.5).toFixed(0)} ms, p99 ${at(0.99).toFixed(0)} ms, worst ${at(1).toFixed(0)} ms`);
  assert.ok(waits.length > 3 * SECONDS * 10, `${waits.length} frames`);
  assert.ok(at(0.99) < 100, `p99 ${at(0.99)} ms`);
  await close();
});

// By itself: a clock that asks for one more frame after each that was drawn doubles the frames of the page.
test("a page takes less than 15 % of a core", async () => {
  const { browsers, pages, close } = await threePages();
  const session = await browsers[0].newBrowserCDPSession();
  const [before, drawn] = [await cpuSeconds(session), await pages[0].evaluate(() => window.drawn)];
  await pages[0].waitForTimeout(1000 * SECONDS);
  const [after, frames] = [await cpuSeconds(session), await pages[0].evaluate(() => window.drawn) - drawn];
  const share = (part) => 100 * (after[part] - before[part]) / SECONDS;
  console.log(`of a core: page ${share("renderer").toFixed(1)} %, its drawing without a graphics card ${share("gpu").toFixed(1)} %, browser ${share("browser").toFixed(1)} %, ${frames} frames`);
  assert.ok(frames > SECONDS * 10, `${frames} frames`);
  assert.ok(share("renderer") < 15, `the page takes ${share("renderer")} % of a core`);
  await close();
});
