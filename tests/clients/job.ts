// What both TypeScript programs do alike: the service to call, what they send, how they stop.

export const api = process.env["LANEWRIGHT_API"] ?? "http://127.0.0.1:8080";
export const today = new Date().toISOString().slice(0, 10);
export const roster = [
  "display_name,sex,birth_date,groups,experience,stature_m",
  "Mira Osei,F,2013-05-17,Squad,novice,1.52",
  "Tam Reyl,M,2012-11-02,Squad,novice,1.61",
  "",
].join("\n");

export function person(name: string) {
  return {
    email: `${name}-${crypto.randomUUID()}@club.example`,
    password: "five wickets in a row",
    display_name: "Head Coach",
    club: { name: "Harbour Hurdlers", time_zone: "Europe/London", ruleset: "UKA" },
  };
}

export function check(holds: unknown, what: string): asserts holds {
  if (!holds) throw new Error(what);
}

/** How files begin by which everybody knows them. */
export const FILES = { pdf: "%PDF-1.", xlsx: "PK\u0003\u0004", wav: "RIFF", html: "<!DOCTYPE html>", calendar: "BEGIN:VCALENDAR" };
export const XLSX = "application/vnd.openxmlformats-officedocument.spreadsheetml.sheet";

/** Whether a file is what its name says. */
export async function is(kind: keyof typeof FILES, file: Blob | string): Promise<boolean> {
  const begin = FILES[kind];
  const text = typeof file === "string" ? file : await file.slice(0, begin.length).text();
  return text.startsWith(begin);
}

/** The secret of an address that was handed out. */
export function secret(href: string | null | undefined): string {
  const link = new URL(href ?? "", api).searchParams.get("link");
  check(link, "an address without its secret");
  return link;
}

/** The body of a good answer; a problem stops the program with its words. */
export function good<T>(answer: { data?: T; error?: unknown; response?: Response | undefined }): T {
  if (answer.data === undefined) throw new Error(`${answer.response?.status} ${JSON.stringify(answer.error)}`);
  return answer.data;
}

/** The version of a record, to change exactly that. */
export function tag(answer: { response?: Response | undefined }): string {
  const tag = answer.response?.headers.get("etag");
  check(tag, "an answer without ETag");
  return tag;
}
