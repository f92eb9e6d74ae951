// Prints ours against each peer: medians over the rounds of two threads, and the least processor time of both threads
// together, which other programs on the machine disturb less.
// usage: node ratios.mjs results.jsonl
import { readFileSync } from 'node:fs';

const rows = readFileSync(process.argv[2], 'utf8').trim().split('\n').map((l) => JSON.parse(l));
const sizes = [...new Set(rows.map((r) => r.tris))].sort((a, b) => a - b);
const peers = [...new Set(rows.map((r) => r.peer))].filter((p) => p !== 'ours' && !p.startsWith('tiny'));
const median = (v) => v.toSorted((a, b) => a - b)[(v.length - 1) >> 1];
const of = (peer, tris, work, key, threads) => rows
  .filter((r) => r.peer === peer && r.tris === tris && r.work === work && r.threads === threads && key in r).map((r) => r[key]);
const seconds = (peer, tris, work, threads = 2) => {
  const own = of(peer, tris, work, 'seconds', threads); // some libraries have one thread only
  return median(own.length ? own : of(peer, tris, work, 'seconds', 1));
};
const cpu = (peer, tris, work) => {
  const own = [...of(peer, tris, work, 'cpu', 2), ...of(peer, tris, work, 'cpu', 1)];
  return own.length ? Math.min(...own) : NaN;
};
const sums = [
  ['build and rays', ['build', 'rays']],
  ['build', ['build']],
  ['rays', ['rays']],
  ['distances both ways', ['nearest_high_to_low', 'nearest_low_to_high']],
  ['high to low', ['nearest_high_to_low']],
  ['low to high', ['nearest_low_to_high']],
];
const f = (x) => (Number.isFinite(x) ? x.toPrecision(3) : '–');

for (const n of sizes) {
  console.log(`\n${n} triangles, two threads, medians of ${of('ours', n, 'build', 'seconds', 2).length} rounds; in brackets least processor time of all threads\n`);
  console.log(`| work | ours, s | ${peers.map((p) => `${p}, s | ratio`).join(' | ')} |`);
  console.log(`| --- | ---: |${' ---: | ---: |'.repeat(peers.length)}`);
  for (const [name, works] of sums) {
    const sum = (p, g) => works.reduce((s, w) => s + g(p, n, w), 0);
    const cells = peers.flatMap((p) => [
      `${f(sum(p, seconds))} (${f(sum(p, cpu))})`,
      `${f(sum('ours', seconds) / sum(p, seconds))} (${f(sum('ours', cpu) / sum(p, cpu))})`,
    ]);
    console.log(`| ${name} | ${f(sum('ours', seconds))} (${f(sum('ours', cpu))}) | ${cells.join(' | ')} |`);
  }
  console.log('\n| program | resident, MiB: loaded | built | peak | one thread / two, build | rays | distances |\n| --- | ---: | ---: | ---: | ---: | ---: | ---: |');
  for (const p of ['ours', ...peers]) {
    const mib = (w) => f(median(of(p, n, w, 'mib', of(p, n, w, 'mib', 2).length ? 2 : 1)));
    const gain = (...w) => f(w.reduce((s, x) => s + seconds(p, n, x, 1), 0) / w.reduce((s, x) => s + seconds(p, n, x, 2), 0));
    console.log(`| ${p} | ${mib('rss_after_load')} | ${mib('rss_after_build')} | ${mib('peak_rss')} | ${gain('build')} | ${gain('rays')} | ${gain('nearest_high_to_low', 'nearest_low_to_high')} |`);
  }
  const tiny = rows.filter((r) => r.peer === 'tiny-c++' && r.tris === n && r.work === 'load');
  if (tiny.length) {
    const [bare, own] = [Math.min(...tiny.map((r) => r.cpu)), cpu('ours', n, 'load')];
    console.log(`\nloading: ours ${f(seconds('ours', n, 'load'))} s (${f(own)}), format checked; bare C++ reader ${f(median(tiny.map((r) => r.seconds)))} s (${f(bare)}): ratio ${f(seconds('ours', n, 'load') / median(tiny.map((r) => r.seconds)))} (${f(own / bare)})`);
  }
  const whole = rows.filter((r) => r.work === 'inspect' && r.tris === n);
  if (whole.length) {
    const mid = (key) => median(whole.map((r) => r[key]));
    console.log(`\nwhole inspection, pictures included: ${mid('seconds')} s, ${mid('cpu')} s of processor time, ${Math.max(...whole.map((r) => r.mib))} MiB`);
  }
  const bytes = of('ours', n, 'build', 'bytes_per_triangle', 2);
  if (bytes.length) console.log(`\nours holds ${bytes[0].toFixed(1)} bytes a triangle beside the caller's arrays`);
  console.log('\n| program | hits | sum of t, m | high to low: max, mm | mean, mm | low to high: max, mm | mean, mm |\n| --- | ---: | ---: | ---: | ---: | ---: | ---: |');
  for (const p of ['ours', ...peers]) {
    const g = (w, k, unit, digits) => {
      const v = [...of(p, n, w, k, 2), ...of(p, n, w, k, 1)];
      return v.length ? (v[0] * unit).toFixed(digits) : '–';
    };
    console.log(`| ${p} | ${g('rays', 'hits', 1, 0)} | ${g('rays', 'sum_t', 1, 3)} | ${g('nearest_high_to_low', 'max', 1e3, 5)} | ${g('nearest_high_to_low', 'mean', 1e3, 6)} | ${g('nearest_low_to_high', 'max', 1e3, 5)} | ${g('nearest_low_to_high', 'mean', 1e3, 6)} |`);
  }
}
