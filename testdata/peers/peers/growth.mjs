// Prints how ours grows with the number of triangles, with bars, and the exponent between neighbours: time ~ n^exponent.
// n log n has an exponent of about 1.06 here.
// usage: node growth.mjs growth.jsonl
import { readFileSync } from 'node:fs';

const rows = readFileSync(process.argv[2], 'utf8').trim().split('\n').map((l) => JSON.parse(l));
for (const work of ['build', 'rays', 'nearest_high_to_low', 'nearest_low_to_high', 'inspect']) {
  const least = new Map(); // of several rounds
  for (const x of rows) if (x.work === work && !(least.get(x.tris)?.cpu <= x.cpu)) least.set(x.tris, x);
  const r = [...least.values()].sort((a, b) => a.tris - b.tris);
  if (!r.length) continue;
  const top = Math.max(...r.map((x) => x.cpu));
  console.log(`\n${work}: processor seconds of both threads`);
  r.forEach((x, i) => {
    const p = r[i - 1];
    const exponent = p ? (Math.log(x.cpu / p.cpu) / Math.log(x.tris / p.tris)).toFixed(2) : '    ';
    console.log(`${String(x.tris).padStart(9)} ${x.cpu.toFixed(3).padStart(8)} s  ^${exponent}  ${'#'.repeat(Math.max(1, Math.round(60 * x.cpu / top)))}`);
  });
}
