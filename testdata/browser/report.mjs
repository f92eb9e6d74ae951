// Looks at report.html, the page that an inspection leaves, in two lights and three widths with everything unfolded: axe,
// nothing wider than the screen, no request of any kind, a picture. Without script, too, it says the same.
//   node report.mjs REPORT.html OUT
import { mkdirSync, readFileSync } from 'node:fs';
import { createRequire } from 'node:module';
import { join } from 'node:path';
import { launch, schemes, widths } from './browser.mjs';

const [, , report, out] = process.argv;
const axe = readFileSync(createRequire(import.meta.url).resolve('axe-core/axe.min.js'), 'utf8');
mkdirSync(out, { recursive: true });
const browser = await launch();
const faults = [];
let said = '';
for (const javaScriptEnabled of [true, false]) for (const colorScheme of schemes) for (const width of widths) {
  const where = `${colorScheme} ${width}${javaScriptEnabled ? '' : ' without script'}`;
  const context = await browser.newContext({ colorScheme, javaScriptEnabled, bypassCSP: true, viewport: { width, height: 900 } });
  const page = await context.newPage();
  page.on('request', r => { if (!/^(data|file):/.test(r.url())) faults.push(`${where}: asks for ${r.url()}`); });
  await page.goto('file://' + encodeURI(report));
  const text = await page.locator('main').innerText();
  if (said && text.replace(/\s+/g, ' ') !== said) faults.push(`${where}: says something else`);
  said ||= text.replace(/\s+/g, ' ');
  if (javaScriptEnabled) {
    await page.evaluate(() => document.querySelectorAll('details').forEach(d => { d.open = true; }));
    await page.addScriptTag({ content: axe });
    const found = await page.evaluate(() => axe.run({ rules: { 'target-size': { enabled: true } } }));
    for (const v of found.violations) faults.push(`${where}: ${v.id}: ${v.nodes[0].html}`);
    const over = await page.evaluate(() => document.documentElement.scrollWidth - document.documentElement.clientWidth);
    if (over > 0) faults.push(`${where}: ${over} px wider than the screen`);
    await page.screenshot({ path: join(out, `report-${colorScheme}-${width}.png`), fullPage: true, clip: { x: 0, y: 0, width, height: 5000 } }); // taller pictures come out repeated
  }
  await context.close();
}
await browser.close();
if (said.length < 200) faults.push('the page says next to nothing');
console.log(faults.join('\n'));
process.exit(faults.length ? 1 : 0);
