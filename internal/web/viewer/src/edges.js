// Edges of a mesh, each once, with tables of plain numbers: half a million triangles have 750,000 of them, and a Map with a
// key for each takes ten times as long.

import { Table } from './table.js'

// Each vertex's number is that of the first one at its place.
function welded(geometry) {
  if (geometry.userData.welded) return geometry.userData.welded
  const { position } = geometry.attributes
  const n = position.count
  const bits = new Uint32Array(3 * n)
  const floats = new Float32Array(bits.buffer)
  // A zero may be negative: adding a positive one makes both the same bits.
  for (let v = 0; v < n; v++) { floats[3 * v] = position.getX(v) + 0; floats[3 * v + 1] = position.getY(v) + 0; floats[3 * v + 2] = position.getZ(v) + 0 }
  const table = new Table(n)
  const same = new Uint32Array(n)
  for (let v = 0; v < n; v++) {
    const x = bits[3 * v], y = bits[3 * v + 1], z = bits[3 * v + 2]
    let slot = table.slot(x ^ Math.imul(y, 0x85ebca6b) ^ Math.imul(z, 0xc2b2ae35))
    for (; table.value[slot]; slot = table.after(slot)) {
      const u = table.value[slot] - 1
      if (bits[3 * u] === x && bits[3 * u + 1] === y && bits[3 * u + 2] === z) break
    }
    if (!table.value[slot]) table.value[slot] = v + 1
    same[v] = table.value[slot] - 1
  }
  return geometry.userData.welded = same
}

// edgesOf calls first(lo, hi, a, b) for the first side of each edge, from triangle corner a to b, and again(edge, a, b) for
// every further one. lo < hi are vertices that stand for their places, edge counts from 0.
function edgesOf(geometry, first, again) {
  const same = welded(geometry)
  const idx = geometry.index?.array
  const n = idx ? idx.length : same.length
  const table = new Table(n)
  const ends = new Uint32Array(2 * n)
  let edges = 0
  for (let t = 0; t + 2 < n; t += 3) {
    for (let k = 0; k < 3; k++) {
      const i = t + k, j = t + (k + 1) % 3
      let a = idx ? idx[i] : i, b = idx ? idx[j] : j
      if (same[a] > same[b]) [a, b] = [b, a]
      const lo = same[a], hi = same[b]
      if (lo === hi) continue
      let slot = table.slot(Math.imul(lo, 0x85ebca6b) ^ hi)
      for (; table.value[slot]; slot = table.after(slot)) {
        const e = table.value[slot] - 1
        if (ends[2 * e] === lo && ends[2 * e + 1] === hi) break
      }
      if (table.value[slot]) { again?.(table.value[slot] - 1, a, b); continue }
      ends[2 * edges] = lo
      ends[2 * edges + 1] = hi
      table.value[slot] = ++edges
      first(lo, hi, a, b)
    }
  }
  return { ends, edges }
}

// wire gives every edge once, as pairs of vertices.
export function wire(geometry) {
  const { ends, edges } = edgesOf(geometry, () => {})
  return ends.slice(0, 2 * edges)
}

// hard gives the edges at one of whose ends the two sides' normals are further apart than this.
export function hard(geometry, limitDeg) {
  const { normal } = geometry.attributes
  const nrm = new Float32Array(3 * normal.count)
  for (let v = 0; v < normal.count; v++) { nrm[3 * v] = normal.getX(v); nrm[3 * v + 1] = normal.getY(v); nrm[3 * v + 2] = normal.getZ(v) }
  const limit = Math.cos(limitDeg * Math.PI / 180)
  const apart = (a, b) => a !== b && nrm[3 * a] * nrm[3 * b] + nrm[3 * a + 1] * nrm[3 * b + 1] + nrm[3 * a + 2] * nrm[3 * b + 2] < limit
  const n = geometry.index ? geometry.index.count : geometry.attributes.position.count
  const one = new Uint32Array(2 * n)
  const found = new Uint8Array(n)
  let at = 0
  const { ends, edges } = edgesOf(geometry,
    (lo, hi, a, b) => { one[2 * at] = a; one[2 * at + 1] = b; at++ },
    (e, a, b) => { if (apart(a, one[2 * e]) || apart(b, one[2 * e + 1])) found[e] = 1 })
  const out = []
  for (let e = 0; e < edges; e++) if (found[e]) out.push(ends[2 * e], ends[2 * e + 1])
  return new Uint32Array(out)
}
