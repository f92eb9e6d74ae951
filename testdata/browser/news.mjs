// Looks at the pages of webhooks, of mail and of a forgotten password in a real browser. Reads base, password, out, people and
// links from the JSON on standard input; prints what is wrong and ends with 1 where anything is.
import { readFileSync } from 'node:fs';
import { launch, logIn, Looker } from './browser.mjs';

const w = JSON.parse(readFileSync(0, 'utf8'));
const look = new Looker(w.out);
const browser = await launch();

const says = (...of) => look.says(...of);

const stranger = await (await browser.newContext()).newPage();
await stranger.goto(w.base + '/login');
await stranger.getByRole('link', { name: 'Set a new password' }).click();
await look.at(stranger, 'reset-ask');
await stranger.getByLabel('E-mail').fill('nobody@brackwater.example');
await stranger.getByRole('button', { name: 'Send me a link' }).click();
await says(stranger, 'reset asked', '[role=status]', 'a link is on its way');
await look.at(stranger, 'reset-asked');
await stranger.goto(w.base + w.reset);
await look.at(stranger, 'reset-new');
await stranger.goto(w.base + '/reset/phr_used');
await look.at(stranger, 'reset-over');
await stranger.goto(w.base + w.stop);
await look.at(stranger, 'mail-stop');

const lead = await logIn(browser, w.base, w.people.lead, w.password);
await lead.goto(w.base + '/account/mail');
await look.at(lead, 'mail');
await lead.goto(w.base + '/account/webhooks');
await look.at(lead, 'webhooks-none');
await lead.getByLabel('Address').fill('https://hooks.brackwater.example/in');
await lead.getByRole('button', { name: 'Add it' }).click();
await says(lead, 'webhook', '.command', 'whsec_');
await look.at(lead, 'webhook-made');
await lead.goto(w.base + w.hook);
await says(lead, 'webhook', 'tbody', '500');
await look.at(lead, 'webhook');
await lead.goto(w.base + '/account/webhooks');
await look.at(lead, 'webhooks');

// The same in German, chosen as people choose it.
await lead.goto(w.base + '/account');
await lead.locator('#language').selectOption('de');
await lead.locator('#reading button').click();
for (const [name, path] of [['webhook-de', w.hook], ['webhooks-de', '/account/webhooks'], ['mail-de', '/account/mail']]) {
  await lead.goto(w.base + path);
  await look.at(lead, name);
}

await browser.close();
for (const p of look.problems) console.log(p);
process.exit(look.problems.length ? 1 : 0);
