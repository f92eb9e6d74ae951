// Reads an ASCII .ply of triangles: {"pos": float32 xyz, "tri": uint32, three a triangle}.
import { readFileSync } from 'node:fs';

export function fromPLY(path) {
  const lines = readFileSync(path, 'latin1').split('\n');
  const end = lines.findIndex((l) => l.trim() === 'end_header');
  const count = (what) => Number(lines.slice(0, end).find((l) => l.startsWith('element ' + what)).split(/\s+/)[2]);
  const pos = new Float32Array(3 * count('vertex')), tri = new Uint32Array(3 * count('face'));
  for (let i = 0; i < pos.length / 3; i++) pos.set(lines[end + 1 + i].trim().split(/\s+/).slice(0, 3).map(Number), 3 * i);
  for (let i = 0; i < tri.length / 3; i++) tri.set(lines[end + 1 + pos.length / 3 + i].trim().split(/\s+/).slice(1, 4).map(Number), 3 * i);
  return { pos, tri };
}
