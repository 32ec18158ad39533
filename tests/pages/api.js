// The service as a program calls it; LANEWRIGHT_API is where it is.
import assert from "node:assert/strict";

export const api = process.env.LANEWRIGHT_API;

export class Caller {
  constructor(token) {
    this.token = token;
  }

  /** Sends, and answers what came back with its tag; fails on a refusal. */
  async send(method, path, body, headers = {}) {
    const answer = await fetch(api + path, {
      method,
      headers: { "content-type": "application/json", ...(this.token && { authorization: `Bearer ${this.token}` }), ...headers },
      body: body === undefined ? undefined : JSON.stringify(body),
    });
    const text = await answer.text();
    assert(answer.ok, `${method} ${path}: ${answer.status} ${text}`);
    const read = text ? JSON.parse(text) : undefined;
    const refused = read?.results?.find?.((one) => one.status === "rejected");
    assert(!refused, `${method} ${path}: ${JSON.stringify(refused)}`);
    return { body: read, tag: answer.headers.get("etag") };
  }

  async get(path) {
    return (await this.send("GET", path)).body;
  }

  async post(path, body, headers) {
    return (await this.send("POST", path, body, headers)).body;
  }

  async put(path, body, headers) {
    return (await this.send("PUT", path, body, headers)).body;
  }

  /** The bytes of a file, and what they are. */
  async file(path) {
    const answer = await fetch(api + path, { headers: { authorization: `Bearer ${this.token}` } });
    assert.equal(answer.status, 200, path);
    return Buffer.from(await answer.arrayBuffer());
  }
}
