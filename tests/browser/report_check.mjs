// Opens reports in Chromium and makes claims about them, one TAP line each.
//
//   node report_check.mjs CHROMIUM SHOTS_FOLDER NAME=REPORT.html[@TITLE]...
//
// Nothing but the file itself may be asked for, nothing may fail in the console, the
// replay must play and answer keys, axe-core must find no serious fault in light and
// dark, no label may leave its picture and no page its window at 400 pixels. Pictures
// of every page go into SHOTS_FOLDER, to be looked at.
import fs from "node:fs";
import path from "node:path";
import { createRequire } from "node:module";
import { pathToFileURL } from "node:url";
import { chromium } from "playwright-core";

const require = createRequire(import.meta.url);
const axe = fs.readFileSync(require.resolve("axe-core/axe.min.js"), "utf8");
const [executablePath, shots, ...pages] = process.argv.slice(2);
const root = process.getuid && process.getuid() === 0;
const flags = ["--headless", "--disable-gpu", "--no-first-run", "--disable-background-networking",
               "--disable-component-update", "--disable-sync"];
let failures = 0;

function claim(text, holds, why) {
  console.log((holds ? "ok - " : "not ok - ") + text);
  if (holds) return;
  failures++;
  console.log("# " + String(why).slice(0, 1500).replaceAll("\n", "\n# "));
}

const none = (list) => list.length === 0;

// --- one page ------------------------------------------------------------------

// What a page says and asks for, from its first moment on.
async function open(browser, url, options) {
  const context = await browser.newContext({ viewport: { width: 1280, height: 900 }, ...options });
  const page = await context.newPage();
  const heard = { console: [], requests: [], dialogs: [] };
  page.on("console", (message) => ["error", "warning"].includes(message.type()) && heard.console.push(message.text()));
  page.on("pageerror", (error) => heard.console.push(String(error)));
  page.on("request", (request) => request.url() !== url && heard.requests.push(request.url()));
  page.on("dialog", (dialog) => { heard.dialogs.push(dialog.message()); dialog.dismiss(); });
  await page.goto(url);
  await page.waitForFunction(() => {
    const player = document.getElementById("replay-player");
    return !player || !player.hidden;
  });
  return { context, page, heard };
}

// Serious and critical findings; its own scripts are what the page's policy forbids.
async function faults(browser, url, colorScheme) {
  const { context, page } = await open(browser, url, { bypassCSP: true, colorScheme });
  await page.evaluate(axe);
  const result = await page.evaluate(() => axe.run(document, { resultTypes: ["violations"] }));
  await context.close();
  return result.violations
    .filter((violation) => ["serious", "critical"].includes(violation.impact))
    .map((violation) => violation.id + ": " + violation.nodes.slice(0, 3).map((node) => node.html.slice(0, 160)).join(" | "));
}

// Texts that leave their picture, pictures without a name or a description.
const pictureFaults = (page) => page.evaluate(() => {
  const wrong = [];
  for (const picture of document.querySelectorAll("svg.picture")) {
    const box = picture.viewBox.baseVal;
    for (const text of picture.querySelectorAll("text")) {
      const at = text.getBBox(), slack = 3;
      if (at.x < box.x - slack || at.y < box.y - slack || at.x + at.width > box.x + box.width + slack ||
          at.y + at.height > box.y + box.height + slack)
        wrong.push(picture.id + ": \u201c" + text.textContent + "\u201d leaves the picture");
    }
    for (const part of ["title", "desc"])
      if (!picture.querySelector(":scope > " + part)?.textContent.trim()) wrong.push(picture.id + " has no " + part);
    if (!picture.closest("section").querySelector("details table, table")) wrong.push(picture.id + " has no data");
    if (picture.getBoundingClientRect().width < 100) wrong.push(picture.id + " is not seen");
  }
  return wrong;
});

// --- the replay ------------------------------------------------------------------

async function checkReplay(name, page) {
  const now = () => page.evaluate(() => Number(document.getElementById("replay-time").value));
  const picture = () => page.evaluate(() => document.getElementById("replay-canvas").toDataURL());
  const press = (key) => page.locator("#replay-canvas").press(key);
  const end = await page.evaluate(() => Number(document.getElementById("replay-time").max));
  const before = await picture();
  await page.locator("#replay-play").click();
  await page.waitForFunction(() => Number(document.getElementById("replay-time").value) > 0.5);
  claim(`${name}: the replay plays`, (await picture()) !== before, "the picture stays the same");
  await press(" ");
  const paused = await now();
  await page.waitForTimeout(200);
  claim(`${name}: space pauses it`, (await now()) === paused, `${paused} became ${await now()}`);
  await press("Home");
  const start = await now();
  await press("ArrowRight");
  claim(`${name}: Home jumps to the start, an arrow steps one second`,
        start === 0 && Math.abs((await now()) - Math.min(1, end)) < 0.11, `${start}, ${await now()}`);
  await press("End");
  claim(`${name}: End jumps to the end`, Math.abs((await now()) - end) < 0.11, `${await now()} of ${end}`);
  const speed = await page.locator("#replay-speed").inputValue();
  await press("+");
  claim(`${name}: plus makes it faster`, Number(await page.locator("#replay-speed").inputValue()) > Number(speed), speed);
  const view = await page.locator("#replay-view").inputValue();
  await press("v");
  claim(`${name}: v changes the view`, (await page.locator("#replay-view").inputValue()) !== view, view);
  await press("Home");
}

// --- one report --------------------------------------------------------------------

async function checkReport(browser, name, file, title) {
  const url = pathToFileURL(path.resolve(file)).href;
  const shot = (kind) => ({ path: path.join(shots, `${name}-${kind}.png`), fullPage: true });
  const { context, page, heard } = await open(browser, url, { colorScheme: "light" });
  const drawn = await page.evaluate(() => performance.getEntriesByType("navigation")[0].loadEventEnd);
  console.log(`# ${name}: ${(fs.statSync(file).size / 1e6).toFixed(2)} MB, loaded in ${Math.round(drawn)} ms`);
  await page.screenshot(shot("light"));
  const wrong = await pictureFaults(page);
  claim(`${name}: pictures have names, descriptions, data, and keep their labels`, none(wrong), wrong.join("\n"));
  if (title)
    claim(`${name}: a title with tags is shown as text`,
          (await page.locator("h1").textContent()) === title && (await page.title()).startsWith(title) &&
          !(await page.evaluate(() => window.hacked || document.querySelector("h1 *, header img"))),
          await page.locator("h1").innerHTML());
  if (await page.locator("#replay-player").count())
    await checkReplay(name, page);
  await page.emulateMedia({ media: "print" });
  await page.screenshot(shot("print"));
  await page.pdf({ path: path.join(shots, `${name}.pdf`), format: "A4" });
  claim(`${name}: no error in the console, on screen and on paper`, none(heard.console), heard.console.join("\n"));
  claim(`${name}: asks for nothing but itself, opens no dialog`, none([...heard.requests, ...heard.dialogs]),
        [...heard.requests, ...heard.dialogs].join("\n"));
  await context.close();

  const narrow = await open(browser, url, { viewport: { width: 400, height: 800 }, reducedMotion: "reduce" });
  await narrow.page.screenshot(shot("400"));
  const wide = await narrow.page.evaluate(() => document.scrollingElement.scrollWidth);
  claim(`${name}: fits 400 pixels`, wide <= 400, `${wide} wide`);
  if (await narrow.page.locator("#replay-view").count())
    claim(`${name}: with less motion asked for, the view does not follow`,
          (await narrow.page.locator("#replay-view").inputValue()) === "whole", "it follows");
  await narrow.context.close();
  const dark = await open(browser, url, { colorScheme: "dark" });
  await dark.page.screenshot(shot("dark"));
  await dark.context.close();
  for (const scheme of ["light", "dark"]) {
    const found = await faults(browser, url, scheme);
    claim(`${name}: axe finds nothing serious, ${scheme}`, none(found), found.join("\n"));
  }
}

fs.mkdirSync(shots, { recursive: true });
const browser = await chromium.launch({ executablePath, args: flags, chromiumSandbox: !root });
for (const entry of pages) {
  const [, name, file, title] = entry.match(/^([^=]+)=([^@]+)(?:@(.*))?$/s);
  try {
    await checkReport(browser, name, file, title);
  } catch (error) {
    claim(`${name}: can be checked to the end`, false, error);
  }
}
await browser.close();
process.exit(failures ? 1 : 0);
