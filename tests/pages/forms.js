// The pages of words and forms: where somebody signs in for an app and says what it may, where the links of mail lead, problems, and
// the sheets of a link. LANEWRIGHT_MAIL is the folder into which the service writes mail.
import assert from "node:assert/strict";
import { createHash, randomBytes, randomUUID } from "node:crypto";
import { readdir, readFile } from "node:fs/promises";
import { setTimeout } from "node:timers/promises";
import { Caller, api } from "./api.js";

const PASSWORD = "five wickets in a row";

/** The links of the mail to an address, latest first, as soon as there are so many. */
async function links(to, count) {
  for (let tries = 0; tries < 600; tries += 1) {
    const found = [];
    for (const name of (await readdir(process.env.LANEWRIGHT_MAIL).catch(() => [])).sort()) {
      if (!name.endsWith(".eml")) continue;
      const text = (await readFile(`${process.env.LANEWRIGHT_MAIL}/${name}`, "utf8")).replaceAll(/=\r?\n/g, "").replaceAll("=3D", "=");
      const link = text.match(/\/mail\/[\w-]+/);
      if (link && text.includes(to)) found.unshift(link[0]);
    }
    if (found.length >= count) return found;
    await setTimeout(100);
  }
  throw new Error(`no mail to ${to}`);
}

/** Opens each of them in the tab and hands it to `look` with its name. */
export async function forms(tab, story, look) {
  const { admin, club, group } = story;
  const app = await admin.post(`${club}/apps`, {
    name: "Trackside Cards", redirect_uris: ["http://127.0.0.1/connected"], scopes: ["squad.read", "session.write", "sync"],
  });
  const email = `forms-${randomUUID()}@club.example`;
  const person = await new Caller().post("/v1/auth/sign-up", { email, password: PASSWORD, display_name: "Bo <b>Coach</b>" });
  const invited = await admin.post(`${club}/invitations`, { email, role: "coach", group_ids: [group] });
  await new Caller(person.tokens.access_token).post("/v1/invitations/accept", { token: invited.token });

  const asks = new URL(`${api}/oauth/authorize`);
  asks.search = new URLSearchParams({
    response_type: "code", client_id: app.client_id, redirect_uri: "http://127.0.0.1:9/connected", scope: "squad.read session.write", state: "s",
    code_challenge: createHash("sha256").update(randomBytes(32)).digest("base64url"), code_challenge_method: "S256",
  }).toString();
  await tab.goto(asks.href);
  await look("sign-in");
  const signIn = async (password) => {
    await tab.getByLabel("E-mail address").fill(email);
    await tab.getByLabel("Password").fill(password);
    await tab.getByRole("button", { name: "Sign in" }).click();
  };
  await signIn("not the password");
  await tab.getByRole("alert").waitFor();
  await look("sign-in-wrong");
  await signIn(PASSWORD);
  await tab.getByRole("button", { name: "Allow", exact: true }).waitFor();
  await look("consent");
  await tab.goto(`${api}/oauth/authorize?client_id=nonsense`);
  await look("dead-end");

  const stranger = `invited-${randomUUID()}@club.example`;
  await admin.post(`${club}/invitations`, { email: stranger, role: "coach", group_ids: [group] });
  await tab.goto(api + (await links(stranger, 1))[0]);
  await look("invitation");
  const forgetful = `forgetful-${randomUUID()}@club.example`;
  await new Caller().post("/v1/auth/sign-up", { email: forgetful, password: PASSWORD, display_name: "Di" });
  await links(forgetful, 1);
  await new Caller().post("/v1/auth/password-reset", { email: forgetful });
  await tab.goto(api + (await links(forgetful, 2))[0]);
  await look("new-password");
  await tab.getByLabel("New password").fill("password12");
  await tab.getByRole("button").click();
  await tab.getByRole("alert").waitFor();
  await look("new-password-wrong");
  await tab.getByLabel("New password").fill("seven lanes of wet grass");
  await tab.getByRole("button").click();
  await tab.getByRole("status").waitFor();
  await look("new-password-done");
  const other = `other-${randomUUID()}@club.example`;
  await new Caller().post("/v1/auth/sign-up", { email: other, password: PASSWORD, display_name: "Cy" });
  const [confirm] = await links(other, 1);
  await tab.goto(api + confirm);
  await look("confirm");
  await tab.getByRole("button").click();
  await tab.getByRole("status").waitFor();
  await look("confirmed");
  await tab.goto(api + confirm);
  await look("gone");
  await tab.goto(`${api}/problems`);
  await look("problems");
  await tab.goto(`${api}/problems/invalid`);
  assert.equal(await tab.getByRole("heading", { level: 1 }).count(), 1);
  await look("problem");
}
