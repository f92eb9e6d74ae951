// What changed since the delivery before: vertices that have no counterpart there glow.
import { BufferAttribute, Mesh, MeshStandardMaterial } from 'three'
import { worldOf } from './pins.js'
import { Table } from './table.js'
import { mirroring } from './light.js'

// Vertices that lie nearer to each other than this along each axis are the same: more than rounding of stored positions, less
// than anybody sees. None is the same that lies farther than three times as far.
const sameMM = 0.1

const glow = mirroring(new MeshStandardMaterial({ vertexColors: true, roughness: 0.8, metalness: 0 }))
const still = [0.42, 0.41, 0.40], moved = [1.0, 0.42, 0.04]

// The grid's cells are twice as wide, so that what is the same lies in a vertex's own cell or in the nearer neighbour of each axis.
const perMetre = 1000 / (2 * sameMM)

class Cells {
  constructor(meshes) {
    const all = meshes.map(worldOf)
    const n = all.reduce((sum, at) => sum + at.length, 0) / 3
    this.table = new Table(n)
    this.at = new Int32Array(3 * n)
    this.count = 0
    for (const at of all) for (let v = 0; v < at.length; v += 3) this.put(Math.floor(at[v] * perMetre), Math.floor(at[v + 1] * perMetre), Math.floor(at[v + 2] * perMetre))
  }

  // find gives the slot of a cell, or the free one where it would stand.
  find(x, y, z) {
    const { table, at } = this
    let slot = table.slot(Math.imul(x, 0x85ebca6b) ^ Math.imul(y, 0xc2b2ae35) ^ Math.imul(z, 0x27d4eb2f))
    for (; table.value[slot]; slot = table.after(slot)) {
      const i = 3 * (table.value[slot] - 1)
      if (at[i] === x && at[i + 1] === y && at[i + 2] === z) break
    }
    return slot
  }

  put(x, y, z) {
    const slot = this.find(x, y, z)
    if (this.table.value[slot]) return
    this.at.set([x, y, z], 3 * this.count)
    this.table.value[slot] = ++this.count
  }

  // near says whether a place in metres has a counterpart. Its own cell comes first, since most vertices have not moved.
  near(px, py, pz) {
    const gx = px * perMetre, gy = py * perMetre, gz = pz * perMetre
    const x = Math.floor(gx), y = Math.floor(gy), z = Math.floor(gz)
    const dx = gx - x < 0.5 ? -1 : 1, dy = gy - y < 0.5 ? -1 : 1, dz = gz - z < 0.5 ? -1 : 1
    for (let n = 0; n < 8; n++) {
      if (this.table.value[this.find(x + (n & 1 ? dx : 0), y + (n & 2 ? dy : 0), z + (n & 4 ? dz : 0))]) return true
    }
    return false
  }
}

// markChanged gives each mesh a twin in which what has changed glows, and says how many vertices have. before are the
// meshes of the earlier delivery.
export function markChanged(meshes, before) {
  const cells = new Cells(before)
  let n = 0
  for (const m of meshes) {
    if (m.userData.changed) m.userData.changed.removeFromParent()
    const at = worldOf(m)
    const colours = new Float32Array(at.length)
    for (let v = 0; v < at.length; v += 3) {
      const same = cells.near(at[v], at[v + 1], at[v + 2])
      if (!same) n++
      const c = same ? still : moved
      colours[v] = c[0]; colours[v + 1] = c[1]; colours[v + 2] = c[2]
    }
    const g = m.geometry.clone()
    g.setAttribute('color', new BufferAttribute(colours, 3))
    const twin = new Mesh(g, glow)
    twin.applyMatrix4(m.matrix)
    twin.visible = false
    twin.userData.twin = true
    m.parent.add(twin)
    m.userData.changed = twin
  }
  return n
}
