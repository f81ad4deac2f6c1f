// The program with a page, and a browser that looks at it.
import { spawn } from "node:child_process";
import { mkdtempSync, readFileSync, rmSync, existsSync } from "node:fs";
import { tmpdir } from "node:os";
import { dirname, join, resolve } from "node:path";
import { fileURLToPath } from "node:url";
import { chromium } from "playwright-core";

export const root = resolve(dirname(fileURLToPath(import.meta.url)), "../..");
export const program = process.env.EVENBREATH_PROGRAM ?? join(root, "target/debug/evenbreath");
const browserPath = process.env.EVENBREATH_CHROMIUM ?? "/usr/bin/chromium";

export const folder = mkdtempSync(join(tmpdir(), "evenbreath-page-"));
process.on("exit", () => rmSync(folder, { recursive: true, force: true }));

export const sample = (name) => join(root, "sample-logs", name);

// A test that fails leaves its recording; nothing that was started here outlives the tests.
const running = new Set();
const browsers = [];
export async function endAll() {
  running.forEach((child) => child.kill("SIGKILL"));
  await Promise.all(browsers.map((browser) => browser.close()));
}

let made = 0;
// Records with a page; gives its address, its log, and how to end it.
export async function record(args, { port = "", lesson = false } = {}) {
  const log = join(folder, `log-${++made}.csv`);
  const page = port ? `--page=${port}` : "--page";
  const child = spawn(program, lesson ? ["lesson", log, ...args] : ["record", log, ...args, page], { stdio: ["ignore", "ignore", "pipe"] });
  running.add(child);
  const ended = new Promise((done) => child.once("exit", done)).then(() => running.delete(child));
  const wanted = args.includes("--share") ? 2 : 1;
  const urls = [];
  let said = "";
  await new Promise((done, fail) => {
    child.stderr.on("data", (bytes) => {
      if (urls.length >= wanted) return;
      said += bytes;
      urls.splice(0, urls.length, ...(said.match(/http:\S+(?=\s)/g) ?? []));
      if (urls.length >= wanted) done();
    });
    child.once("exit", () => fail(new Error(`ended before there was a page: ${said}`)));
  });
  const stop = async (signal = "SIGINT") => { child.kill(signal); await ended; };
  const text = () => (existsSync(log) ? readFileSync(log, "utf8") : "");
  const marks = () => text().split("\n").filter((line) => /^[0-9.]+,/.test(line)).map((line) => line.split(",").at(-1).trim()).filter(Boolean);
  return { url: urls[0], urls, port: new URL(urls[0]).port, log, stop, marks, ended };
}

// The same with a lesson.
export const hold = (args) => record(args, { lesson: true });

export async function open() {
  const args = ["--no-sandbox", "--autoplay-policy=user-gesture-required"];
  const browser = await chromium.launch({ executablePath: browserPath, args });
  browsers.push(browser);
  return browser;
}
