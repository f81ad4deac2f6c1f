// Makes the pictures of the page: `cargo build --release && node tests/browser/pictures.mjs [FOLDER]`.
// Written into sample-logs/pictures where no folder is named.
import { execFileSync } from "node:child_process";
import { mkdirSync, rmSync } from "node:fs";
import { join } from "node:path";
import { pathToFileURL } from "node:url";
import { endAll, hold, open, program, record, root, sample } from "./recorder.mjs";

const into = process.argv[2] ?? join(root, "sample-logs/pictures");
const all = process.argv.includes("--all");
const SIZES = { phone: [390, 844], tablet: [1024, 768], projector: [1920, 1080] };

mkdirSync(into, { recursive: true });
const browser = await open();

async function picture(name, url, size, scheme, wait, act = async () => {}) {
  const [width, height] = SIZES[size];
  const context = await browser.newContext({ viewport: { width, height }, colorScheme: scheme });
  const page = await context.newPage();
  await page.goto(url);
  await page.waitForFunction((pattern) => new RegExp(pattern).test(document.getElementById("sentence").textContent), wait);
  await act(page);
  await page.waitForTimeout(700);
  await page.screenshot({ path: join(into, `page-${name}.png`) });
  await context.close();
}

async function each(name, url, wait, act) {
  for (const size of Object.keys(SIZES)) for (const scheme of ["light", "dark"]) await picture(`${name}-${size}-${scheme}`, url, size, scheme, wait, act);
}

const before = await record(["--replay", sample("balance-before.csv"), "--speed", all ? "1" : "4"]);
await picture("out-of-tolerance", before.url, "projector", "light", "^Rear passes");
if (all) await each("act", before.url, "^Rear passes");
if (all) await each("screw", before.url, ".", (page) => page.locator("#screw").click());
if (all) await each("before", before.url, ".", (page) => page.waitForTimeout(5000));
await before.stop();
const after = await record(["--replay", sample("balance-after.csv"), "--speed", all ? "2" : "3"]);
await picture("in-tolerance", after.url, "tablet", "dark", "^In tolerance");
if (all) await each("good", after.url, "^In tolerance");
await after.stop("SIGKILL");
const guided = await record(["--model", "--guide", "breather", "--speed", "2"]);
await picture("guide", guided.url, "tablet", "light", "cap", (page) => page.waitForFunction(() => /s$/.test(document.getElementById("left").textContent)));
if (all) await each("guided", guided.url, ".");
await guided.stop();
if (all) {
  const asking = await record(["--replay", sample("breather-sealed.csv"), "--guide", "breather"]);
  await each("cautions", asking.url, ".");
  await asking.stop();
}
const job = join(into, "handover.html");
const of = (option, name) => [`--${option}`, sample(`${name}.csv`)];
execFileSync(program, ["report", "--out", job, "--car", "Blue saloon", "--customer", "A. Customer", "--date", "2026-03-14", "--checked", "engine fully warm,choke off,ignition timing and dwell",
  ...of("breather-before", "breather-leaking"), ...of("breather-after", "breather-sealed"), ...of("before", "balance-before"), ...of("after", "balance-after")]);
const sheet = await browser.newPage({ viewport: { width: 940, height: 1330 } });
await sheet.goto(pathToFileURL(job).href);
await sheet.screenshot({ path: join(into, "handover.png") });
await sheet.close();
rmSync(job);
const lesson = await hold(["--scene", "5", "--speed", "2", "--seed", "7"]);
const started = async (page) => {
  const engine = page.locator("#engine", { hasText: "Start engine" });
  if (await engine.isEnabled()) await engine.click();
  await page.waitForFunction(() => /^8/.test(document.getElementById("m-rpm")?.textContent ?? ""));
};
await picture("lesson-question", lesson.url, "projector", "light", ".", async (page) => { await page.waitForSelector("#ask"); await page.waitForTimeout(2500); await started(page); await page.waitForTimeout(9000); });
await picture("lesson-answer", lesson.url, "projector", "light", ".", async (page) => { await page.locator("#answer:enabled").click(); await page.waitForTimeout(1500); });
if (all) await each("lesson", lesson.url, ".", (page) => page.waitForSelector("#ask"));
await lesson.stop();
const shared = await record(["--model=uneven", "--share"]);
if (all) await each("looking", shared.urls[1], ".");
if (all) await each("lost", shared.urls[0], ".", async (page) => { await page.route("**/stream*", (route) => route.abort()); await page.reload(); await page.waitForTimeout(600); });
await shared.stop();
await endAll();
