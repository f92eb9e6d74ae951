// The protocol of every script here: one JSON value a line in, one JSON value a line out, in order. A request that
// fails is answered with {"error": "…"} and the script goes on. It ends with its input.
import { createInterface } from 'node:readline';

export async function serve(answer) {
  for await (const line of createInterface({ input: process.stdin, crlfDelay: Infinity })) {
    if (!line.trim()) continue;
    let out;
    try {
      out = await answer(JSON.parse(line));
    } catch (e) {
      out = { error: String(e && e.message ? e.message : e) };
    }
    process.stdout.write(JSON.stringify(out) + '\n');
  }
}
