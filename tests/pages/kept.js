// Pictures of pages beside those that are kept: as a phone shows them, as a browser prints them, and as the service's own file.
// Letters are those of src/render/fonts everywhere, so that a picture depends on the versions of two programs alone.
import { execFile } from "node:child_process";
import { mkdir, mkdtemp, readFile, readdir, rm, writeFile } from "node:fs/promises";
import { tmpdir } from "node:os";
import { join } from "node:path";
import { promisify } from "node:util";
import { PNG } from "pngjs";

const run = promisify(execFile);
const FONTS = ["NotoSans", "NotoSansHebrew", "NotoSansArabic", "DroidSansFallbackFull", "NanumGothicCoding"];
const WITH_BOLD = FONTS.slice(0, 3);
/** Dots to an inch of pages of paper: small files in which a moved word still shows. */
const DPI = "50";
/** Side of the squares whose darkness is compared. */
const SQUARE = 8;
/** Levels of grey that are kept. */
const LEVELS = 7;
/** By how much of white a square may differ, and what share of them may differ by more; wider with programs of other versions. */
const SAME = { by: 0.06, share: 0 };
const OTHER = { by: 0.25, share: 0.01 };

/** Lets pages of a context be drawn in the letters of the project. */
export async function lettered(context, folder) {
  await context.route("https://letters.invalid/*", async (route) => {
    const body = await readFile(join(folder, new URL(route.request().url()).pathname));
    await route.fulfill({ body, contentType: "font/ttf", headers: { "access-control-allow-origin": "*" } });
  });
}

const face = (name, file, weight) =>
  `@font-face{font-family:"Kept ${name}";font-weight:${weight};src:url(https://letters.invalid/${file}.ttf)}`;
const LETTERS = FONTS.map((name) => {
  const bold = WITH_BOLD.includes(name);
  const file = bold ? `${name}-Regular` : name;
  return face(name, file, 400) + (bold ? face(name, `${name}-Bold`, 700) : "");
}).join("") + `html,svg text{font-family:${FONTS.map((name) => `"Kept ${name}"`).join(",")}!important}`;

/** A picture of grey, in few levels: width, height and a byte for each dot. */
function grey(bytes) {
  const read = PNG.sync.read(bytes);
  const dots = new Uint8Array(read.width * read.height);
  for (let at = 0; at < dots.length; at += 1) {
    const [r, g, b] = read.data.subarray(at * 4, at * 4 + 3);
    dots[at] = Math.round(((0.299 * r + 0.587 * g + 0.114 * b) / 255) * LEVELS);
  }
  return { width: read.width, height: read.height, dots };
}

function written({ width, height, dots }) {
  const png = new PNG({ width, height, colorType: 0, inputColorType: 0, bitDepth: 8, deflateLevel: 9, deflateStrategy: 0, filterType: 0 });
  png.data = Buffer.from(dots.map((level) => Math.round((level * 255) / LEVELS)));
  return PNG.sync.write(png, { colorType: 0, inputColorType: 0, bitDepth: 8, deflateLevel: 9, deflateStrategy: 0, filterType: 0 });
}

/** The pages of a PDF below each other, a line of grey between them. */
async function printed(file) {
  const folder = await mkdtemp(join(tmpdir(), "pages-"));
  try {
    await writeFile(join(folder, "file.pdf"), file);
    await run("pdftoppm", ["-r", DPI, "-png", "-gray", join(folder, "file.pdf"), join(folder, "page")]);
    const names = (await readdir(folder)).filter((name) => name.endsWith(".png")).sort();
    const pages = await Promise.all(names.map(async (name) => grey(await readFile(join(folder, name)))));
    const width = pages[0].width;
    const height = pages.reduce((sum, page) => sum + page.height + 2, 0);
    const dots = new Uint8Array(width * height).fill(LEVELS >> 1);
    let from = 0;
    for (const page of pages) {
      dots.set(page.dots, from);
      from += width * (page.height + 2);
    }
    return { width, height, dots };
  } finally {
    await rm(folder, { recursive: true });
  }
}

/** The pictures of a page that is open in a tab of a phone's width: each with the end of its name. */
export async function drawn(tab, file) {
  await tab.addStyleTag({ content: LETTERS });
  await tab.evaluate(() => document.fonts.ready);
  const phone = grey(await tab.screenshot({ fullPage: true }));
  // A letter of a size that only paper has may be fetched late.
  await tab.emulateMedia({ media: "print" });
  await tab.evaluate(() => document.fonts.ready.then(() => new Promise((done) => requestAnimationFrame(() => requestAnimationFrame(done)))));
  const paper = await printed(await tab.pdf({ preferCSSPageSize: true }));
  return [["phone", phone], ["print", paper], ["file", await printed(file)]];
}

/** Darkness of squares, 0 to 1, row by row. */
function squares({ width, height, dots }) {
  const across = Math.ceil(width / SQUARE);
  const sums = new Float64Array(across * Math.ceil(height / SQUARE));
  for (let at = 0; at < dots.length; at += 1) {
    const [x, y] = [at % width, Math.floor(at / width)];
    sums[Math.floor(y / SQUARE) * across + Math.floor(x / SQUARE)] += LEVELS - dots[at];
  }
  return sums.map((sum) => sum / (SQUARE * SQUARE * LEVELS));
}

/** What is wrong with a picture beside the kept one; nothing where they are alike. */
function differs(now, kept, { by, share }) {
  if (now.width !== kept.width || now.height !== kept.height) {
    return `is ${now.width} by ${now.height}, kept ${kept.width} by ${kept.height}`;
  }
  const [one, other] = [squares(now), squares(kept)];
  const off = one.filter((dark, at) => Math.abs(dark - other[at]) > by).length;
  return off > share * one.length ? `${off} of ${one.length} squares differ` : undefined;
}

/** The kept pictures: `renew` keeps new ones instead of comparing; what differs is written into `folder`. */
export class Kept {
  static async of(where, folder, browser, renew) {
    const { stderr } = await run("pdftoppm", ["-v"]);
    const made = { browser, pdftoppm: stderr.match(/version (\S+)/)[1] };
    const with_ = join(where, "made-with.json");
    if (renew) {
      await rm(where, { recursive: true, force: true });
      await mkdir(where, { recursive: true });
      await writeFile(with_, `${JSON.stringify(made)}\n`);
    }
    const before = JSON.parse(await readFile(with_, "utf8"));
    const same = made.browser === before.browser && made.pdftoppm === before.pdftoppm;
    const kept = new Kept();
    Object.assign(kept, { where, folder, renew, bound: same ? SAME : OTHER, count: 0, bytes: 0 });
    kept.says = same ? "" : ` (kept with Chromium ${before.browser} and pdftoppm ${before.pdftoppm}, so compared less strictly)`;
    return kept;
  }

  /** What is wrong with a picture of a name. */
  async check(name, now) {
    const path = join(this.where, `${name}.png`);
    const bytes = written(now);
    this.count += 1;
    this.bytes += bytes.length;
    if (this.renew) return void (await writeFile(path, bytes));
    const kept = await readFile(path).catch(() => undefined);
    const wrong = kept ? differs(grey(bytes), grey(kept), this.bound) : "is not kept";
    if (!wrong) return undefined;
    await mkdir(this.folder, { recursive: true });
    await writeFile(join(this.folder, `${name}.png`), bytes);
    return `${wrong}: see ${join(this.folder, `${name}.png`)} beside ${path}`;
  }

  /** Kept pictures of which none was drawn. */
  async left(names) {
    const there = (await readdir(this.where)).filter((name) => name.endsWith(".png")).map((name) => name.slice(0, -4));
    return there.filter((name) => !names.has(name)).map((name) => `${name}: is kept and was not drawn`);
  }
}
