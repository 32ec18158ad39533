// Opens every page for people in a browser, on a phone and as paper, with the demo's people and with names that break layouts.
// LANEWRIGHT_API is the service with the demo in it, LANEWRIGHT_BROWSER the browser, LOOK a folder for pictures (optional).
import assert from "node:assert/strict";
import { mkdir, readFile, writeFile } from "node:fs/promises";
import { createRequire } from "node:module";
import { chromium } from "playwright-core";

const api = process.env.LANEWRIGHT_API;
const axe = await readFile(createRequire(import.meta.url).resolve("axe-core/axe.min.js"), "utf8");
const looks = process.env.LOOK;
if (looks) await mkdir(looks, { recursive: true });

const PHONE = { width: 390, height: 844 };
// A4 without the margins of the style, in pixels of CSS (96 to an inch): upright and lying.
const PAPER = { portrait: { width: 703, height: 1021 }, landscape: { width: 1031, height: 693 } };
const NAMES = [
  "Wolfeschlegelsteinhausenbergerdorffmeyer",
  "مريم بنت عبد الرحمن الخالدي",
  "נועה בת-אל לוי-כהן",
  "高橋 さくら",
  "O'Neil <b>&amp;",
];

let token;
async function call(method, path, body, headers = {}) {
  const answer = await fetch(api + path, {
    method,
    headers: { "content-type": "application/json", ...(token && { authorization: `Bearer ${token}` }), ...headers },
    body: body === undefined ? undefined : JSON.stringify(body),
  });
  const text = await answer.text();
  assert(answer.ok, `${method} ${path}: ${answer.status} ${text}`);
  return text ? JSON.parse(text) : undefined;
}
const get = (path) => call("GET", path);
const post = (path, body) => call("POST", path, body);

const email = "admin@quillmere.example";
const signedIn = await post("/v1/auth/sign-in", { email, password: "three strides to the next", device_name: "look" });
token = signedIn.access_token;
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
  ["schedule", `${club}/rhythm/schedule`, "?event_code=100H&final_time_s=15"],
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
for (const test of (await get(`${club}/race-tests`)).items) {
  pages.push(["results", `${club}/race-tests/${test.id}/results`]);
  const drawn = await fetch(`${api}${club}/race-tests/${test.id}/heats`, { headers: { authorization: `Bearer ${token}` } });
  if (drawn.ok) pages.push(["start-list", `${club}/race-tests/${test.id}/heats`]);
}
const kinds = new Set(pages.map(([name]) => name));
for (const kind of ["set-out", "cards", "board", "squad", "progress", "results"]) assert(kinds.has(kind), `no ${kind} to look at`);

const browser = await chromium.launch({ executablePath: process.env.LANEWRIGHT_BROWSER, args: ["--no-sandbox"] });
const wrong = [];
let looked = 0;

// How the page lies in its window: what sticks out of it, what words are cut or too small, and which ones meet in a picture.
function measure() {
  const root = document.documentElement;
  const found = [];
  const over = root.scrollWidth - root.clientWidth;
  if (over > 0) found.push(`${over} px wider than the window`);
  for (const one of document.querySelectorAll("body *")) {
    if (one.closest("svg") || one.closest(".stack thead")) continue;
    if (one.scrollWidth > one.clientWidth + 1 && getComputedStyle(one).overflowX !== "visible" && !one.matches(".scroll")) {
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

for (const [name, path, query = ""] of pages) {
  const address = `${api}${path}.html${query}`;
  const headers = { authorization: `Bearer ${token}` };
  const context = await browser.newContext({ viewport: PHONE, extraHTTPHeaders: headers, bypassCSP: true, deviceScaleFactor: 1 });
  const page = await context.newPage();
  const asked = [];
  page.on("request", (request) => asked.push(request.url()));
  page.on("pageerror", (error) => wrong.push(`${name}: ${error}`));
  const answer = await page.goto(address);
  assert.equal(answer.status(), 200, address);
  const said = (what, list) => wrong.push(...list.map((one) => `${name} (${what}): ${one}`));
  const free = await page.screenshot({ fullPage: true });
  said("phone", await page.evaluate(measure));
  await page.evaluate(axe);
  const checked = await page.evaluate(() => axe.run(document, { resultTypes: ["violations"] }));
  said("axe", checked.violations.map((one) => `${one.id}: ${one.help}: ${one.nodes[0].html.slice(0, 120)}`));
  if (looks) await writeFile(`${looks}/${name}-${looked}-phone.png`, free);
  const lying = (await answer.text()).includes("size:A4 landscape");
  await page.setViewportSize(lying ? PAPER.landscape : PAPER.portrait);
  await page.emulateMedia({ media: "print" });
  said("paper", await page.evaluate(measure));
  if (looks) await page.screenshot({ path: `${looks}/${name}-${looked}-paper.png`, fullPage: true });
  if (looks) await page.pdf({ path: `${looks}/${name}-${looked}.pdf`, preferCSSPageSize: true });
  assert.deepEqual(asked, [address], "a page asks for nothing else");
  await context.close();
  // Under its own policy, which the check above has to set aside, it looks the same: its style is let through.
  const strict = await browser.newContext({ viewport: PHONE, extraHTTPHeaders: headers, deviceScaleFactor: 1 });
  const held = await strict.newPage();
  await held.goto(address);
  if (!free.equals(await held.screenshot({ fullPage: true }))) wrong.push(`${name}: its policy changes how it looks`);
  await strict.close();
  looked += 1;
}
await browser.close();
assert.deepEqual(wrong, [], wrong.join("\n"));
console.log(`pages: ${looked} pages on a phone and as A4, nothing sticks out, no violations`);
