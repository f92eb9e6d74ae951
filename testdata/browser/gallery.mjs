// Takes pictures of the harbour demo as its people see it. Reads the service's address, the demo's state file and the
// folder for the pictures from the command line; ends with 1 where a page has anything wrong with it.
import { readFileSync } from 'node:fs';
import { join } from 'node:path';
import { launch, logIn, Looker, wholePage } from './browser.mjs';

const [base, stateFile, out] = process.argv.slice(2);
if (!out) {
  console.error('usage: node gallery.mjs ADDRESS STATE-FILE FOLDER');
  process.exit(2);
}
const state = JSON.parse(readFileSync(stateFile, 'utf8'));
const look = new Looker(out);
const browser = await launch();

function login(role, party) {
  const l = state.logins.find((l) => l.Role === role && (!party || l.Party === party));
  if (!l) throw new Error(`the demo has no ${role}`);
  return l;
}
const as = async (l) => logIn(browser, base, l.Email, l.Password);
const delivery = (prop, number) => '/deliveries/' + state.lines.find((l) => l.Prop === prop && l.Number === number).Delivery;

// open goes to an address, or to where links with these names lead, one after the other.
async function open(page, start, ...names) {
  const r = await page.goto(base + start);
  if (r.status() !== 200) look.say(start, `status ${r.status()}`);
  for (const name of names) await page.getByRole('link', { name }).first().click();
  await page.locator('h1').waitFor();
}

async function take(page, name, start, ...names) {
  await open(page, start, ...names);
  await look.at(page, name);
}

const director = await as(login('art_director'));
await take(director, 'work-of-an-art-director', '/');
await take(director, 'work', '/?show=all');
await take(director, 'delivery-clear', delivery('lantern', 1));
await take(director, 'delivery-with-issues', delivery('bollard', 1));
await take(director, 'delivery-accepted', delivery('bollard', 2));
await take(director, 'delivery-in-centimetres', delivery('crate', 1));
await take(director, 'delivery-with-several-issues', delivery('buoy', 1));
await take(director, 'delivery-cut-off', delivery('capstan', 1));
await take(director, 'prop', '/?show=all', 'Mooring bollard');
await take(director, 'spec', '/?show=all', 'Pier lantern', /^Revision/);

const producer = await as(login('producer'));
await take(producer, 'orders', '/orders');
await take(producer, 'order', '/orders', 'Quay furniture');
await take(producer, 'people', '/people');

const vendor = await as(login('vendor_lead', state.lines.find((l) => l.Prop === 'crate').Vendor));
await take(vendor, 'work-of-a-vendor', '/');
await take(vendor, 'delivery-of-a-vendor', delivery('crate', 1));
await take(vendor, 'prop-of-a-vendor', '/?show=all', 'Fish crate');
await take(vendor, 'account', '/account');

// What a reader sees first, at the size of a page in a document.
for (const [page, name, start] of [[director, 'first-delivery-clear', delivery('lantern', 1)], [director, 'first-delivery-with-issues', delivery('bollard', 1)], [director, 'first-work', '/?show=all']]) {
  await open(page, start);
  await wholePage(page);
  for (const colorScheme of ['light', 'dark']) {
    await page.emulateMedia({ colorScheme });
    await page.screenshot({ path: join(out, `${name}-${colorScheme}.png`) });
  }
  await page.emulateMedia({ colorScheme: 'light' });
}
await browser.close();
console.log(`${look.pages} pages, ${look.looks} runs of axe, ${look.problems.length} problems; pictures in ${out}`);
for (const p of look.problems) console.log(p);
process.exit(look.problems.length > 0 ? 1 : 0);
