// What changed since the delivery before: vertices that have no counterpart there glow.
import { BufferAttribute, Mesh, MeshStandardMaterial, Vector3 } from 'three'

// Vertices that lie nearer to each other than this are the same: more than rounding of stored positions, less than anybody sees.
const sameMM = 0.1

const glow = new MeshStandardMaterial({ vertexColors: true, roughness: 0.8, metalness: 0 })
const still = [0.42, 0.41, 0.40], moved = [1.0, 0.42, 0.04]

const cell = (v) => Math.round(v * 1000 / sameMM)
const hash = (x, y, z) => Math.imul(x, 73856093) ^ Math.imul(y, 19349663) ^ Math.imul(z, 83492791)

function eachVertex(mesh, visit) {
  mesh.updateWorldMatrix(true, false)
  const pos = mesh.geometry.attributes.position
  const p = new Vector3()
  for (let v = 0; v < pos.count; v++) visit(p.fromBufferAttribute(pos, v).applyMatrix4(mesh.matrixWorld), v)
}

// placesOf is the set of cells in which the earlier meshes have a vertex.
function placesOf(meshes) {
  const cells = new Set()
  for (const m of meshes) eachVertex(m, (p) => cells.add(hash(cell(p.x), cell(p.y), cell(p.z))))
  return cells
}

function known(cells, p) {
  const x = cell(p.x), y = cell(p.y), z = cell(p.z)
  for (let i = -1; i <= 1; i++) for (let j = -1; j <= 1; j++) for (let k = -1; k <= 1; k++) if (cells.has(hash(x + i, y + j, z + k))) return true
  return false
}

// markChanged gives each mesh a twin in which what has changed glows, and says how many vertices have. before are the
// meshes of the earlier delivery.
export function markChanged(meshes, before) {
  const cells = placesOf(before)
  let n = 0
  for (const m of meshes) {
    if (m.userData.changed) m.userData.changed.removeFromParent()
    const colours = new Float32Array(3 * m.geometry.attributes.position.count)
    eachVertex(m, (p, v) => {
      const same = known(cells, p)
      if (!same) n++
      colours.set(same ? still : moved, 3 * v)
    })
    const g = m.geometry.clone()
    g.setAttribute('color', new BufferAttribute(colours, 3))
    const twin = new Mesh(g, glow)
    twin.applyMatrix4(m.matrix)
    twin.visible = false
    twin.raycast = () => {}
    twin.userData.twin = true
    m.parent.add(twin)
    m.userData.changed = twin
  }
  return n
}
