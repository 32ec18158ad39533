// The pages on which a person connects an app, in a real browser without a window: by keyboard alone, without script, on a phone and at
// a desk, light and dark. CHROMIUM names the browser, SHOTS a folder for pictures.
import assert from "node:assert/strict";
import { createHash, randomBytes, randomUUID } from "node:crypto";
import { createServer } from "node:http";
import { chromium } from "playwright-core";

const api = process.env.LANEWRIGHT_API ?? "http://127.0.0.1:8080";
const password = "five wickets in a row";
const email = `browser-${randomUUID()}@club.example`;

async function call(path, body, token) {
  const headers = { "content-type": "application/json", ...(token ? { authorization: `Bearer ${token}` } : {}) };
  const answer = await fetch(api + path, { method: "POST", headers, body: JSON.stringify(body) });
  assert.ok(answer.ok, `${path}: ${answer.status} ${await answer.clone().text()}`);
  return answer.json();
}

const club = { name: "Harbour Hurdlers", time_zone: "Europe/London", ruleset: "UKA" };
const person = await call("/v1/auth/sign-up", { email, password, display_name: "Ada Admin", club });
const app = await call(
  `/v1/clubs/${person.club.id}/apps`,
  { name: "Trackside Cards", redirect_uris: ["http://127.0.0.1/connected"], scopes: ["squad.read", "session.write", "sync"] },
  person.tokens.access_token,
);

// What the app listens with: it notes what the browser brings.
const brought = [];
const listener = createServer((request, answer) => {
  const url = new URL(request.url, "http://app");
  // And not what a browser asks for beside, an icon.
  if (url.pathname === "/connected") brought.push({ url, method: request.method, referer: request.headers.referer });
  answer.setHeader("content-type", "text/html").end("<!doctype html><title>Connected</title><p>Connected");
});
await new Promise((done) => listener.listen(0, "127.0.0.1", done));
const redirect = `http://127.0.0.1:${listener.address().port}/connected`;
const verifier = randomBytes(32).toString("base64url");
const asks = new URL(`${api}/oauth/authorize`);
asks.search = new URLSearchParams({
  response_type: "code",
  client_id: app.client_id,
  redirect_uri: redirect,
  scope: "squad.read session.write",
  state: "s-1",
  code_challenge: createHash("sha256").update(verifier).digest("base64url"),
  code_challenge_method: "S256",
}).toString();

/** The contrast of two colours (WCAG 2.2). */
function contrast(one, other) {
  const light = (colour) => {
    const parts = colour.match(/[\d.]+/g).slice(0, 3).map((part) => Number(part) / 255);
    const [r, g, b] = parts.map((part) => (part <= 0.04045 ? part / 12.92 : ((part + 0.055) / 1.055) ** 2.4));
    return 0.2126 * r + 0.7152 * g + 0.0722 * b;
  };
  const [dark, bright] = [light(one), light(other)].sort((a, b) => a - b);
  return (bright + 0.05) / (dark + 0.05);
}

const browser = await chromium.launch({ executablePath: process.env.CHROMIUM ?? "/usr/bin/chromium", args: ["--no-sandbox"] });
try {
  for (const [name, width, height] of [["phone", 320, 640], ["desk", 1280, 800]]) {
    for (const colorScheme of ["light", "dark"]) {
      const context = await browser.newContext({ viewport: { width, height }, colorScheme, javaScriptEnabled: false });
      const page = await context.newPage();
      const [foreign, said] = [[], []];
      page.on("request", (request) => {
        if (![api, redirect].some((own) => request.url().startsWith(own))) foreign.push(request.url());
      });
      page.on("console", (message) => message.text().includes("Policy") && said.push(message.text()));
      const look = async (step) => {
        const at = `${name} ${colorScheme} ${step}`;
        // Reading what is laid out needs no script of the page.
        const facts = await page.evaluate(() => {
          const style = (element) => getComputedStyle(element);
          const behind = style(document.body).backgroundColor;
          const texts = [...document.querySelectorAll("h1,p,label,a,li,button")].map((one) => {
            const own = style(one).backgroundColor;
            return [one.textContent.slice(0, 30), style(one).color, own === "rgba(0, 0, 0, 0)" ? behind : own];
          });
          const sizes = [...document.querySelectorAll("input:not([type=hidden]),button")].map((one) => one.getBoundingClientRect().height);
          return { texts, sizes, wide: document.documentElement.scrollWidth, behind };
        });
        assert.ok(facts.wide <= width, `${at}: ${facts.wide} pixels wide`);
        assert.ok(facts.sizes.every((size) => size >= 44), `${at}: ${facts.sizes}`);
        for (const [text, front, back] of facts.texts) {
          assert.ok(contrast(front, back) >= 4.5, `${at}: ${text} ${front} on ${back}: ${contrast(front, back)}`);
        }
        if (process.env.SHOTS) await page.screenshot({ path: `${process.env.SHOTS}/${at.replaceAll(" ", "-")}.png`, fullPage: true });
        return facts.behind;
      };
      await page.goto(asks.href);
      const backs = [await look("sign-in")];
      assert.equal(await page.getByRole("heading", { level: 1 }).innerText(), "Sign in to connect Trackside Cards");
      // A wrong password first, all by keyboard: the address is kept, and what was wrong is an alert that the fields name.
      const until = async (field) => {
        for (let steps = 0; steps < 10; steps += 1) {
          await page.keyboard.press("Tab");
          if (await field.evaluate((one) => one === document.activeElement)) return;
        }
        assert.fail("the keyboard does not reach it");
      };
      await until(page.getByLabel("E-mail address"));
      await page.keyboard.type(email);
      await until(page.getByLabel("Password"));
      await page.keyboard.type("not the password");
      await page.keyboard.press("Enter");
      await page.getByRole("alert").waitFor();
      await look("wrong");
      assert.equal(await page.getByLabel("E-mail address").inputValue(), email);
      assert.equal(await page.getByLabel("Password").inputValue(), "");
      await until(page.getByLabel("Password"));
      await page.keyboard.type(password);
      await page.keyboard.press("Enter");
      await page.getByRole("button", { name: "Allow", exact: true }).waitFor();
      backs.push(await look("consent"));
      assert.equal(await page.getByRole("listitem").count(), 2);
      const choice = name === "phone" ? "Allow" : "Do not allow";
      await until(page.getByRole("button", { name: choice, exact: true }));
      await page.keyboard.press("Enter");
      await page.waitForURL(`${redirect}**`);
      const back = brought.at(-1);
      assert.equal(back.method, "GET");
      assert.equal(back.referer, undefined, "the app is told no address of ours");
      const query = back.url.searchParams;
      assert.deepEqual([query.get("state"), query.get("iss")], ["s-1", api]);
      assert.equal(query.has("code"), choice === "Allow");
      assert.equal(query.get("error"), choice === "Allow" ? null : "access_denied");
      assert.deepEqual(await context.cookies(), []);
      assert.deepEqual([foreign, said], [[], []], "nothing from elsewhere, and no policy is broken");
      assert.ok(backs.every((one) => (colorScheme === "dark") === (contrast(one, "rgb(255, 255, 255)") > 4.5)), `${backs}`);
      await context.close();
    }
  }
  const code = brought.map((one) => one.url.searchParams.get("code")).find((one) => one);
  const form = { grant_type: "authorization_code", client_id: app.client_id, code, redirect_uri: redirect, code_verifier: verifier };
  const tokens = await fetch(`${api}/oauth/token`, { method: "POST", body: new URLSearchParams(form) });
  assert.equal(tokens.status, 200, await tokens.clone().text());
  assert.equal((await tokens.json()).scope, "squad.read session.write");
} finally {
  await browser.close();
  listener.close();
}
console.log("browser: signed in and answered by keyboard, phone and desk, light and dark");
