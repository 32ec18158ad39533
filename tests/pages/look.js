// Opens every page for people in a browser, on a phone and as paper: with the demo's people, with twelve lanes of twelve whose names
// break layouts, and with a club whose days never change, of whose pages pictures are kept.
// LANEWRIGHT_API is the service with the demo in it, LANEWRIGHT_MAIL its folder of mail, LANEWRIGHT_BROWSER the browser, KEPT the folder of
// kept pictures and FONTS that of their letters, RENEW keeps new ones, LOOK is a folder for larger pictures to look at (optional).
import assert from "node:assert/strict";
import { mkdir, readFile, writeFile } from "node:fs/promises";
import { createRequire } from "node:module";
import { tmpdir } from "node:os";
import { join } from "node:path";
import { chromium } from "playwright-core";
import { Caller, api } from "./api.js";
import { forms } from "./forms.js";
import { Kept, drawn, lettered } from "./kept.js";
import { story } from "./story.js";

const axe = await readFile(createRequire(import.meta.url).resolve("axe-core/axe.min.js"), "utf8");
const looks = process.env.LOOK;
if (looks) await mkdir(looks, { recursive: true });

const PHONE = { width: 390, height: 844 };
const WIDTHS = [320, 390, 1280];
const SCHEMES = ["light", "dark"];
// A4 without the margins of the style, in pixels of CSS (96 to an inch): upright and lying.
const PAPER = { portrait: { width: 703, height: 1021 }, landscape: { width: 1031, height: 693 } };
const NAMES = [
  "Wolfeschlegelsteinhausenbergerdorffmeyer",
  "مريم بنت عبد الرحمن الخالدي",
  "נועה בת-אל לוי-כהן",
  "高橋 さくら",
  "O'Neil <b>&amp;",
];

const admin = new Caller();
const credentials = { email: "admin@quillmere.example", password: "three strides to the next", device_name: "look" };
admin.token = (await admin.post("/v1/auth/sign-in", credentials)).access_token;
const get = (path) => admin.get(path);
const post = (path, body) => admin.post(path, body);
const club = `/v1/clubs/${(await get("/v1/me")).clubs[0].club_id}`;
const groups = (await get(`${club}/groups`)).items;
const today = new Date().toISOString().slice(0, 10);

// Twelve lanes of twelve: a squad of its own, whose names are of all scripts and as long as names get.
const crowd = await post(`${club}/groups`, { name: `Crowd ${NAMES[1]}` });
const athletes = [];
for (let n = 0; n < 144; n += 1) {
  const made = await post(`${club}/athletes`, {
    display_name: `${NAMES[n % NAMES.length]} ${n}`,
    sex: n % 2 ? "F" : "M",
    birth_date: `201${1 + (n % 3)}-05-17`,
    group_ids: [crowd.id],
    experience: "novice",
    measurements: [{ kind: "stature_m", value: 1.5 + (n % 10) / 100, measured_on: today }],
  });
  athletes.push(made.id);
}
const venue = await post(`${club}/venues`, { name: "Wide track", environment: "outdoor", straight_m: 130, lanes: 12 });
await post(`${club}/equipment`, { barrier_kind: "wicket", heights_m: [0.2, 0.3], count: 150 });
const full = await post(`${club}/sessions`, { held_on: today, state: "planned", group_ids: [crowd.id], venue_id: venue.id });
const planned = await post(`${club}/sessions/${full.id}/lane-plans`, {
  lanes: 12, capacity: 12, athlete_ids: athletes, barriers: { min: 4, max: 10 }, objective: "total", alternatives: false,
});
const empty = await post(`${club}/groups`, { name: "Nobody yet" });

const pages = [
  ["crowd-set-out", `${club}/sessions/${full.id}/lane-plans/${planned.id}/set-out`],
  ["crowd-cards", `${club}/sessions/${full.id}/cards`],
  ["crowd-board", `${club}/groups/${crowd.id}/board`],
  ["no-data-progress", `${club}/athletes/${athletes[0]}/progression`],
  ["empty-board", `${club}/groups/${empty.id}/board`],
  ["empty-squad", `${club}/groups/${empty.id}/progression`],
  ["equipment", `${club}/equipment`],
];
for (const session of (await get(`${club}/sessions?from=${today}&to=${today}&limit=200`)).items) {
  if (session.id === full.id) continue;
  for (const plan of (await get(`${club}/sessions/${session.id}/lane-plans`)).items) {
    pages.push(["set-out", `${club}/sessions/${session.id}/lane-plans/${plan.id}/set-out`]);
  }
  pages.push(["cards", `${club}/sessions/${session.id}/cards`]);
}
for (const group of groups) {
  pages.push(["board", `${club}/groups/${group.id}/board`], ["squad", `${club}/groups/${group.id}/progression`]);
}
const board = await get(`${club}/groups/${groups[0].id}/board`);
for (const one of board.athletes.slice(0, 3)) pages.push(["progress", `${club}/athletes/${one.athlete_id}/progression`]);
for (const test of (await get(`${club}/race-tests`)).items) pages.push(["results", `${club}/race-tests/${test.id}/results`]);
const kinds = new Set(pages.map(([name]) => name));
for (const kind of ["set-out", "cards", "board", "squad", "progress", "results"]) assert(kinds.has(kind), `no ${kind} to look at`);

const browser = await chromium.launch({ executablePath: process.env.LANEWRIGHT_BROWSER, args: ["--no-sandbox"] });
const wrong = [];
let looked = 0;
let checks = 0;

// How the page lies in its window: what sticks out of it, what words are cut or too small, and which ones meet in a picture.
function measure() {
  const root = document.documentElement;
  const found = [];
  const over = root.scrollWidth - root.clientWidth;
  if (over > 0) found.push(`${over} px wider than the window`);
  for (const one of document.querySelectorAll("body *")) {
    if (one.closest("svg") || one.closest(".stack thead")) continue;
    if (one.scrollWidth > one.clientWidth + 1 && getComputedStyle(one).overflowX !== "visible" && !one.matches(".scroll, input")) {
      found.push(`cut: ${one.tagName} ${one.textContent.slice(0, 40)}`);
    }
  }
  for (const svg of document.querySelectorAll("figure svg")) {
    const words = [...svg.querySelectorAll("text")].map((text) => [text.textContent, text.getBoundingClientRect()]);
    const frame = svg.getBoundingClientRect();
    for (const [at, [word, box]] of words.entries()) {
      if (box.left < frame.left - 1 || box.right > frame.right + 1) found.push(`leaves its picture: ${word}`);
      for (const [other, rest] of words.slice(at + 1)) {
        const apart = box.right <= rest.left || rest.right <= box.left || box.bottom <= rest.top + 1 || rest.bottom <= box.top + 1;
        if (!apart) found.push(`words meet: ${word} and ${other}`);
      }
    }
  }
  return [...new Set(found)];
}

/** Layout and accessibility of what is open in a tab, in each width and colour scheme. */
async function check(tab, name, widths = WIDTHS, schemes = SCHEMES) {
  await tab.evaluate(axe);
  for (const width of widths) {
    await tab.setViewportSize({ width, height: PHONE.height });
    for (const colorScheme of schemes) {
      await tab.emulateMedia({ colorScheme, media: "screen" });
      const said = (list) => wrong.push(...list.map((one) => `${name} (${width} px, ${colorScheme}): ${one}`));
      said(await tab.evaluate(measure));
      // With the rules of WCAG 2.2 that are off by default.
      const rules = { "target-size": { enabled: true } };
      const checked = await tab.evaluate((rules) => axe.run(document, { resultTypes: ["violations"], rules }), rules);
      said(checked.violations.map((one) => `${one.id}: ${one.help}: ${one.nodes[0].html.slice(0, 120)}`));
      checks += 1;
    }
  }
  await tab.setViewportSize(PHONE);
  await tab.emulateMedia({ colorScheme: null, media: null });
}

async function open(token, more = {}) {
  const extraHTTPHeaders = token ? { authorization: `Bearer ${token}` } : undefined;
  const context = await browser.newContext({ viewport: PHONE, extraHTTPHeaders, deviceScaleFactor: 1, ...more });
  return [context, await context.newPage()];
}

async function look(token, name, path, query = "") {
  const address = `${api}${path}.html${query}`;
  const [context, page] = await open(token, { bypassCSP: true });
  const asked = [];
  page.on("request", (request) => asked.push(request.url()));
  page.on("pageerror", (error) => wrong.push(`${name}: ${error}`));
  const answer = await page.goto(address);
  assert.equal(answer.status(), 200, address);
  const free = await page.screenshot({ fullPage: true });
  // Of a page as long as a street the checker sees each kind of part on the first sizes.
  await check(page, name, ...(name.startsWith("crowd") ? [[320, 390], ["light"]] : []));
  if (looks) await writeFile(`${looks}/${name}-${looked}-phone.png`, free);
  const lying = (await answer.text()).includes("size:A4 landscape");
  await page.setViewportSize(lying ? PAPER.landscape : PAPER.portrait);
  await page.emulateMedia({ media: "print" });
  wrong.push(...(await page.evaluate(measure)).map((one) => `${name} (paper): ${one}`));
  if (looks) await page.pdf({ path: `${looks}/${name}-${looked}-print.pdf`, preferCSSPageSize: true });
  if (looks) await writeFile(`${looks}/${name}-${looked}-file.pdf`, await new Caller(token).file(`${path}.pdf${query}`));
  assert.deepEqual(asked, [address], "a page asks for nothing else");
  await context.close();
  // Under its own policy, which the check above has to set aside, it looks the same: its style is let through.
  const [strict, held] = await open(token);
  await held.goto(address);
  if (!free.equals(await held.screenshot({ fullPage: true }))) wrong.push(`${name}: its policy changes how it looks`);
  await strict.close();
  looked += 1;
}

const told = await story();
for (const page of pages) await look(admin.token, ...page);
for (const page of told.pages) await look(told.admin.token, ...page);

const sheets = (await told.admin.post(`${told.club}/sessions/${told.session}/links`, {})).sheets_href;
const [forHelpers, tab] = await open(undefined, { bypassCSP: true });
await tab.goto(`${api}${new URL(sheets, api).pathname.replace(/sheets$/, "sheets.html")}${new URL(sheets, api).search}`);
await check(tab, "sheets of a link");
await forms(tab, told, async (name) => {
  await check(tab, name);
  if (looks) await tab.screenshot({ path: `${looks}/form-${name}.png`, fullPage: true });
  looked += 1;
});
await forHelpers.close();

// Kept pictures.
const folder = join(looks ?? tmpdir(), "lanewright-pages-differ");
let kept;
try {
  kept = await Kept.of(process.env.KEPT, folder, browser.version(), Boolean(process.env.RENEW));
} catch (error) {
  const missing = error.syscall?.startsWith("spawn") ? "pdftoppm (poppler) is missing" : "none are kept: run ./dev pages --renew";
  if (error.code !== "ENOENT") throw error;
  console.log(`pages: pictures were not compared, ${missing}`);
}
if (kept) {
  const names = new Set();
  for (const [name, path, query = ""] of told.pages) {
    const [context, page] = await open(told.admin.token, { bypassCSP: true });
    await lettered(context, process.env.FONTS);
    await page.goto(`${api}${path}.html${query}`);
    for (const [kind, picture] of await drawn(page, await told.admin.file(`${path}.pdf${query}`))) {
      const one = `${name}-${kind}`;
      names.add(one);
      const found = await kept.check(one, picture);
      if (found) wrong.push(`${one}: ${found}`);
    }
    await context.close();
  }
  wrong.push(...(await kept.left(names)));
  console.log(`pages: ${kept.count} pictures ${kept.renew ? "kept" : "compared"}, ${Math.round(kept.bytes / 1024)} KiB${kept.says}`);
}
await browser.close();
assert.deepEqual(wrong, [], wrong.join("\n"));
console.log(`pages: ${looked} pages on a phone and as A4, nothing sticks out; ${checks} checks of accessibility, no violations`);
