// Takes pictures of the harbour demo as its people see it: every kind of page that links lead to, for each of them, wide and
// narrow, light and dark, in both languages, and the papers as they print. Reads the service's address, the demo's state file
// and the folder for the pictures from the command line; leaves an index page beside them. Ends with 1 where a page has anything wrong.
import { mkdirSync, readFileSync, writeFileSync } from 'node:fs';
import { join } from 'node:path';
import { launch, logIn, Looker, wholePage } from './browser.mjs';

const [base, stateFile, out, only] = process.argv.slice(2);
if (!out) {
  console.error('usage: node gallery.mjs ADDRESS STATE-FILE FOLDER [PATTERN]');
  process.exit(2);
}
mkdirSync(out, { recursive: true });
const state = JSON.parse(readFileSync(stateFile, 'utf8'));
const look = new Looker(out);
const browser = await launch();
const shots = []; // {page, who, file, what}

function login(role, party) {
  const l = state.logins.find((l) => l.Role === role && (!party || l.Party === party));
  if (!l) throw new Error(`the demo has no ${role}`);
  return l;
}
const delivery = (prop, number) => '/deliveries/' + state.lines.find((l) => l.Prop === prop && l.Number === number).Delivery;

// Lights, widths and languages of the pictures; the first and the last of English are looked at with axe.
const views = [
  { lang: 'en', width: 1300, scheme: 'light', axe: true }, { lang: 'en', width: 1300, scheme: 'dark' }, { lang: 'en', width: 360, scheme: 'light' }, { lang: 'en', width: 360, scheme: 'dark', axe: true },
  { lang: 'de', width: 1300, scheme: 'light' }, { lang: 'de', width: 360, scheme: 'dark' },
];

// tall bounds a picture; a list of hundreds of lines tells nothing new below.
const tall = 6000;

async function shoot(page, who, name, path) {
  if (only && !name.includes(only)) return;
  look.pages++;
  for (const lang of ['en', 'de']) {
    await page.context().setExtraHTTPHeaders({ 'Accept-Language': lang });
    const r = await page.goto(base + path, { waitUntil: 'load' });
    if (r.status() >= 500) look.say(name, `status ${r.status()}`);
    if (await page.locator('html').getAttribute('lang') !== lang) look.say(name, `not in ${lang}`);
    await wholePage(page);
    for (const v of views.filter((v) => v.lang === lang)) {
      await page.setViewportSize({ width: v.width, height: 900 });
      await page.emulateMedia({ colorScheme: v.scheme });
      const where = `${name} ${lang} ${v.scheme} ${v.width}`;
      await look.fits(page, where);
      if (v.axe) await look.axe(page, where);
      const file = `${name}-${lang}-${v.scheme}-${v.width}.png`;
      const height = Math.min(tall, await page.evaluate(() => document.documentElement.scrollHeight));
      await page.screenshot({ path: join(out, file), fullPage: true, clip: { x: 0, y: 0, width: v.width, height } });
      shots.push({ page: name, who, file, what: `${lang}, ${v.scheme}, ${v.width} px` });
    }
    await page.setViewportSize({ width: 1300, height: 900 });
    await page.emulateMedia({ colorScheme: 'light' });
  }
  await page.context().setExtraHTTPHeaders({ 'Accept-Language': 'en' });
}

const kindOf = (path) => path.replace(/[0-9a-f]{8}-[0-9a-f-]{27}/g, 'id').replace(/^\/|\/$/g, '').replaceAll('/', '-') || 'start';
const taken = /^\/(v1|static|logout|references\/[^/]+\/files|inspections)|\/(document|export)$/;

// walk goes where links lead and takes one page of each kind.
async function walk(page, who, starts) {
  const seen = new Set();
  const next = [...starts];
  while (next.length > 0) {
    const path = next.shift();
    const kind = kindOf(new URL(path, base).pathname);
    if (seen.has(kind)) continue;
    seen.add(kind);
    await shoot(page, who, `${who}-${kind}`, path);
    if (only && !`${who}-${kind}`.includes(only)) await page.goto(base + path);
    const links = await page.evaluate(() => [...document.querySelectorAll('a[href]')].map((a) => a.href));
    for (const to of links.map((l) => new URL(l))) {
      if (to.origin === new URL(base).origin && !to.search && !taken.test(to.pathname) && !seen.has(kindOf(to.pathname))) next.push(to.pathname);
    }
  }
}

// print keeps the papers as they come out of a printer.
async function print(page, name, path) {
  if (only && !name.includes(only)) return;
  await page.goto(base + path);
  await wholePage(page);
  for (const format of ['A4', 'Letter']) {
    const file = `${name}-${format}.pdf`;
    await page.pdf({ path: join(out, file), format, margin: { top: '14mm', bottom: '14mm', left: '14mm', right: '14mm' } });
    shots.push({ page: name, who: 'paper', file, what: format });
  }
}

const stranger = await (await browser.newContext({ viewport: { width: 1300, height: 900 } })).newPage();
await shoot(stranger, 'stranger', 'stranger-login', '/login');
await shoot(stranger, 'stranger', 'stranger-problem', '/join/no-such-secret');

const people = { director: login('art_director'), producer: login('producer'), vendor: login('vendor_lead', state.lines.find((l) => l.Prop === 'crate').Vendor) };
for (const [who, l] of Object.entries(people)) {
  const page = await logIn(browser, base, l.Email, l.Password);
  if (who === 'director') {
    for (const [name, path] of Object.entries({
      clear: delivery('lantern', 1), 'with-issues': delivery('bollard', 1), accepted: delivery('bollard', 2), 'in-centimetres': delivery('crate', 1), 'several-issues': delivery('buoy', 1), 'cut-off': delivery('capstan', 1),
      certificate: delivery('bollard', 2) + '/certificate', issues: delivery('buoy', 1) + '/issues', refused: delivery('bollard', 1) + '/certificate',
    })) await shoot(page, who, `delivery-${name}`, path);
    await print(page, 'certificate', delivery('bollard', 2) + '/certificate');
    await print(page, 'issues', delivery('buoy', 1) + '/issues');
  }
  await walk(page, who, ['/', '/props', '/projects', '/figures', '/review', '/orders', '/payables', '/questions', '/people', '/account']);
  if (who === 'director') {
    // What a reader sees first, at the size of a page in a document.
    for (const [name, path] of [['first-delivery-clear', delivery('lantern', 1)], ['first-delivery-with-issues', delivery('bollard', 1)], ['first-work', '/props'], ['first-review', '/review/' + delivery('lantern', 1).split('/').pop()], ['first-sheet', '/review']]) {
      await page.goto(base + path);
      await wholePage(page);
      for (const colorScheme of ['light', 'dark']) {
        await page.emulateMedia({ colorScheme });
        await page.screenshot({ path: join(out, `${name}-${colorScheme}.png`) });
      }
      await page.emulateMedia({ colorScheme: 'light' });
    }
  }
  await page.context().close();
}
await browser.close();

const named = new Map();
for (const s of shots) named.set(s.page, [...(named.get(s.page) ?? []), s]);
writeFileSync(join(out, 'index.html'), `<!doctype html><html lang="en"><meta charset="utf-8"><meta name="viewport" content="width=device-width"><title>Gallery</title>
<style>body{font:15px/1.4 system-ui,sans-serif;margin:1.5rem;background:#eee;color:#222}h2{font-size:1rem;margin:1.5rem 0 .4rem}ul{list-style:none;padding:0;margin:0;display:flex;gap:.8rem;overflow-x:auto}img{height:260px;width:auto;max-width:420px;object-fit:cover;object-position:top;border:1px solid #bbb;background:#fff}figure{margin:0}figcaption{font-size:.8rem}</style>
<h1>Every kind of page, as the harbour demo's people see it</h1><p>${named.size} pages, ${shots.length} pictures. ${look.problems.length} problems.</p>
${[...named].map(([name, list]) => `<section><h2>${name}</h2><ul>${list.map((s) => `<li><figure><a href="${s.file}">${s.file.endsWith('.pdf') ? s.file : `<img loading="lazy" src="${s.file}" alt="${name}, ${s.what}">`}</a><figcaption>${s.what}</figcaption></figure></li>`).join('')}</ul></section>`).join('\n')}
</html>\n`);
console.log(`${look.pages} pages, ${shots.length} pictures, ${look.looks} runs of axe, ${look.problems.length} problems; start with ${join(out, 'index.html')}`);
for (const p of look.problems) console.log(p);
process.exit(look.problems.length > 0 ? 1 : 0);
