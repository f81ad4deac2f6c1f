// The page that is handed over in a real browser: valid, quiet, printable, and deaf to what logs and options say.
import assert from "node:assert/strict";
import { execFileSync } from "node:child_process";
import { copyFileSync, mkdirSync, readFileSync, writeFileSync } from "node:fs";
import { createRequire } from "node:module";
import { join } from "node:path";
import { after, before, test } from "node:test";
import { pathToFileURL } from "node:url";
import { HtmlValidate } from "html-validate";
import { endAll, folder, open, program, sample } from "./recorder.mjs";

const axe = readFileSync(createRequire(import.meta.url).resolve("axe-core/axe.min.js"), "utf8");
const JOB = ["--car", "Blue saloon", "--customer", "A. Customer", "--job", "17", "--checked", "engine fully warm,choke off"];
const WHOLE = ["breather-before", "breather-leaking", "before", "balance-before", "hunt", "hunt", "breather-after", "breather-sealed", "after", "balance-after"];

// Every one of these would do something where it was taken for markup, or would break the line or turn it around.
const HOSTILE = [
  `<script>window.caught=1</script>`, `"><img src=x onerror="window.caught=2">`, `' onload='window.caught=3`, `]]></style></title></svg><svg onload=window.caught=4>`,
  `</script><script>alert(5)</script>`, `<!--<script>`, `&lt;b&gt;&#x3c;i&#x3e;`, `{{7*7}}`, `\u202Ekcab\u2066`, `\u05D0\u05D1\u05D2 \u0639\u0631\u0628\u064A`, `a\u0007b\u001Bc\u0085d`,
];
const LONG = "x".repeat(10_000);

let browser;
before(async () => { browser = await open(); });
after(endAll);

let made = 0;
function report(args, cwd = folder) {
  const out = join(folder, `handover-${++made}.html`);
  execFileSync(program, ["report", "--out", out, ...args], { cwd, stdio: ["ignore", "ignore", "pipe"] });
  return out;
}
const named = (list) => list.flatMap((word, k) => (k % 2 ? [] : [`--${word}`, sample(`${list[k + 1]}.csv`)]));

// The logs of a whole job with hostile names in head and marks, and hostile words in every option that takes any.
function hostile() {
  const into = join(folder, `hostile-${++made}`);
  mkdirSync(into);
  const words = HOSTILE.join(" ");
  const bare = words.replaceAll('"', "").replaceAll(",", "");
  const write = (name, text) => { const path = join(into, name); writeFileSync(path, text); return path; };
  const head = (text) => text.replace(/# carb1: .*/, `# carb1: ${HOSTILE[0]}${LONG}`).replace(/# carb2: .*/, `# carb2: ${HOSTILE[3]}`).replace(/# engine: .*/, `# engine: ${bare}${LONG}\u0000`);
  const read = (name) => readFileSync(sample(name), "utf8");
  const args = [
    "--before", write("before<b>&'\u202E.csv", head(read("balance-before.csv")).replace(/,engine on\n/, `,screw 1 +0.25\n`)),
    "--after", write(`after${"y".repeat(200)}.csv`, head(read("balance-after.csv"))),
    "--breather-before", write("cap.csv", head(read("breather-leaking.csv")).replace(/,cap off\n/, `,note <script>window.caught=6</script>\n`)),
    "--hunt", write("hunt.csv", head(read("hunt.csv")).replaceAll("servo hose", bare).replaceAll("front gasket", LONG).replaceAll("rear gasket", HOSTILE[0])),
  ];
  for (const option of ["car", "customer", "job", "note"]) args.push(`--${option}=${words.replaceAll("\u0000", "")} ${LONG}`);
  args.push(`--checked=${bare}`, `--checked=${LONG}`);
  return report(args, into);
}

// A page with everything that must not happen counted.
async function visit(path, options = {}) {
  const context = await browser.newContext({ viewport: { width: 1100, height: 900 }, bypassCSP: options.axe ?? false, ...options });
  const page = await context.newPage();
  const faults = [];
  page.on("pageerror", (error) => faults.push(error.message));
  page.on("console", (message) => faults.push(message.text()));
  page.on("dialog", (dialog) => { faults.push(`dialog: ${dialog.message()}`); dialog.dismiss(); });
  page.on("request", (request) => { if (!request.url().startsWith("file:") || !request.url().endsWith(".html")) faults.push(`asked for ${request.url()}`); });
  await page.goto(pathToFileURL(path).href);
  return { page, faults, close: () => context.close() };
}

// Pages of a PDF: each is an object of its own.
const sheets = (pdf) => (pdf.toString("latin1").match(/\/Type\s*\/Page\b(?!s)/g) ?? []).length;

const cases = () => ({
  whole: report([...JOB, ...named(WHOLE)]),
  "before only": report(named(["before", "balance-before"])),
  "after only, in another unit": report([...named(["after", "balance-swap", "breather-after", "breather-sealed"]), "--units", "mmHg"]),
  "a log of its own off idle": report(named(["before", "balance-before", "after", "balance-after", "off-idle-before", "balance-before", "off-idle-after", "balance-after"])),
  "one vacuum": report(named(["breather-before", "breather-2hz"])),
  "crankcase": report(named(["breather-before", "crankcase-leaking", "breather-after", "crankcase-sealed"])),
  "nothing to draw": report(named(["hunt", "balance-swap"])),
  hostile: hostile(),
});

test("every page is valid HTML", async () => {
  const validator = new HtmlValidate({
    extends: ["html-validate:standard", "html-validate:a11y"],
    // The charts are what plotters writes: attributes in XML's spelling, words between line ends.
    rules: { "no-trailing-whitespace": "off" },
  });
  for (const [name, path] of Object.entries(cases())) {
    const { valid, results } = await validator.validateString(readFileSync(path, "utf8"));
    const said = results.flatMap((result) => result.messages).map((m) => `${m.line}:${m.column} ${m.ruleId}: ${m.message}`);
    assert.ok(valid && said.length === 0, `${name}\n${said.slice(0, 12).join("\n")}`);
  }
});

test("what logs and options say stays words: nothing runs, nothing is asked for, nothing overflows", async () => {
  const path = hostile();
  for (const width of [1100, 390]) {
    const { page, faults, close } = await visit(path, { viewport: { width, height: 900 } });
    const seen = await page.evaluate(() => ({
      caught: window.caught,
      scripts: [...document.scripts].map((script) => script.type),
      images: document.images.length,
      handlers: [...document.querySelectorAll("*")].flatMap((e) => [...e.attributes]).filter((a) => /^on/i.test(a.name)).length,
      comments: document.createNodeIterator(document, NodeFilter.SHOW_COMMENT).nextNode()?.data ?? null,
      over: document.documentElement.scrollWidth - document.documentElement.clientWidth,
      sections: [...document.querySelectorAll("main > section, main > header")].map((e) => e.id),
      text: document.body.innerText,
      record: JSON.parse(document.getElementById("record").textContent),
    }));
    assert.equal(seen.caught, undefined);
    assert.deepEqual(seen.scripts, ["application/json"]);
    assert.equal(seen.images, 0);
    assert.equal(seen.handlers, 0);
    assert.equal(seen.comments, null);
    assert.ok(seen.over <= 0, `${seen.over} pixels too wide at ${width}`);
    assert.deepEqual(seen.sections, ["job", "answer", "preconditions", "breather", "balance", "hunt", "turned", "not-measured", "cautions", "logs", "uncertainty"]);
    for (const words of [HOSTILE[0], HOSTILE[1], HOSTILE[4], HOSTILE[6], HOSTILE[9]]) assert.ok(seen.text.includes(words), `not shown as it was written: ${words}`);
    assert.ok(!/[\u0000\u0007\u001B\u0085\u202A-\u202E\u2066-\u2069]/.test(seen.text));
    assert.ok(seen.record.settings.note.includes(HOSTILE[4]) && seen.record.settings.note.includes(LONG));
    assert.deepEqual(faults, []);
    await close();
  }
});

test("axe-core finds nothing amiss", async () => {
  for (const [name, path] of Object.entries(cases())) {
    const { page, close } = await visit(path, { axe: true });
    await page.evaluate(() => { document.querySelector("details").open = true; });
    await page.addScriptTag({ content: axe });
    const violations = await page.evaluate(async () => (await axe.run()).violations.map((v) => `${v.id}: ${v.nodes[0].html}`));
    assert.deepEqual(violations, [], name);
    await close();
  }
});

test("a whole job prints on two to four sheets, A4 and Letter, and the folded part with it", async () => {
  const pages = cases();
  const { page, close } = await visit(pages.whole);
  for (const format of ["A4", "Letter"]) {
    const count = sheets(await page.pdf({ format, printBackground: true }));
    assert.ok(count >= 2 && count <= 4, `${count} sheets of ${format}`);
  }
  const budget = () => page.locator("#uncertainty table").first().evaluate((table) => table.checkVisibility({ contentVisibilityAuto: true }) && table.getBoundingClientRect().height > 0);
  assert.equal(await budget(), false, "folded on the screen");
  await page.emulateMedia({ media: "print" });
  assert.equal(await budget(), true, "open on paper");
  await close();
});

test("the page says the figures that the record holds", async () => {
  const { page, close } = await visit(cases().whole);
  const seen = await page.evaluate(() => ({
    record: JSON.parse(document.getElementById("record").textContent),
    rows: [...document.querySelectorAll("#balance tbody tr:not(.group):not(.change)")].map((row) => [...row.cells].map((cell) => cell.textContent)),
    breather: [...document.querySelectorAll("#breather tbody tr")].map((row) => [...row.cells].map((cell) => cell.textContent)),
    hashes: [...document.querySelectorAll("#logs tbody code")].map((code) => code.textContent),
  }));
  const number = (text) => Number(text.replace("\u2212", "-"));
  const { before, after } = seen.record.balance;
  assert.equal(seen.rows.length, before.plateaus.length + after.plateaus.length);
  for (const row of seen.rows) {
    const finding = row[0] === "before" ? before : after;
    const plateau = finding.plateaus.find((p) => Math.round(p.rpm) === number(row[1]));
    const figures = [plateau.vac1_kpa, plateau.vac2_kpa, plateau.low_kpa, plateau.difference_kpa, plateau.high_kpa];
    figures.forEach((figure, k) => assert.ok(Math.abs(number(row[k + 2]) - figure) <= 0.00501, `${row} and ${figures}`));
    assert.ok(row[8].endsWith(plateau.verdict.replaceAll("_", " ")), row[8]);
  }
  seen.breather.forEach((row, k) => assert.ok(Math.abs(number(row[4]) - seen.record.breather[["before", "after"][k]].drop_rpm) <= 0.501, `${row}`));
  assert.deepEqual(seen.hashes, seen.record.logs.map((log) => log.sha256));
  await close();
});

test("a copy beside copies of its logs is still what it was", () => {
  const into = join(folder, `moved-${++made}`);
  mkdirSync(into);
  const page = report(named(["before", "balance-before"]));
  copyFileSync(page, join(into, "page.html"));
  copyFileSync(sample("balance-before.csv"), join(into, "balance-before.csv"));
  assert.match(execFileSync(program, ["report", "--verify", "page.html"], { cwd: into, encoding: "utf8" }), /^As it was/);
});
