// The triangles that a finding names, shown on the prop: what a list says becomes something to look at.
import { BufferAttribute, BufferGeometry, Group, LineBasicMaterial, LineSegments, Mesh, MeshBasicMaterial, Vector3 } from 'three'
import { wire } from './edges.js'

const fill = new MeshBasicMaterial({ color: 0xe8590c, transparent: true, opacity: 0.45, side: 2, depthWrite: false, polygonOffset: true, polygonOffsetFactor: -2, polygonOffsetUnits: -2 })
// The lines show through what stands in front, so that a fault inside is seen too; told apart from the hard edges by its label.
const line = new LineBasicMaterial({ color: 0xe8590c, depthTest: false, transparent: true })

export class Faults {
  constructor(stage, models) {
    this.stage = stage
    this.models = models
    this.shown = null
  }

  clear() {
    if (!this.shown) return
    this.stage.scene.remove(this.shown)
    this.shown.traverse((o) => o.geometry?.dispose())
    this.shown = null
    this.stage.draw()
  }

  // show puts a place of a finding into view and says where it is: {point, normal, size}, in metres. A place names a point,
  // or triangles of a node as the delivered file numbers them, or both; null where neither is in this model. Triangles of
  // the sculpt are numbered in a finer one than is here, so that only their point is shown.
  show({ at_mm, node, triangles }) {
    this.clear()
    const point = at_mm ? new Vector3(...at_mm).multiplyScalar(0.001) : null
    const mesh = triangles?.length ? this.meshOf(node, triangles, point) : null
    if (!mesh) return point && { point, normal: null, size: 0 }
    const soup = corners(mesh, triangles)
    const geometry = new BufferGeometry()
    geometry.setAttribute('position', new BufferAttribute(soup, 3))
    geometry.computeBoundingSphere()
    const edges = new BufferGeometry()
    edges.setAttribute('position', geometry.attributes.position)
    edges.setIndex(new BufferAttribute(wire(geometry), 1))
    this.shown = new Group()
    for (const o of [new Mesh(geometry, fill), new LineSegments(edges, line)]) {
      o.renderOrder = 2
      o.userData.twin = true
      this.shown.add(o)
    }
    this.stage.scene.add(this.shown)
    this.stage.draw()
    return { point: point || geometry.boundingSphere.center.clone(), normal: facing(soup), size: geometry.boundingSphere.radius }
  }

  // meshOf finds the draw that a place means. A node may have several, whose triangles are numbered each from nought: then it
  // is the one that is nearest to the point.
  meshOf(node, triangles, point) {
    const most = Math.max(...triangles)
    const fits = this.models.meshes('game').filter((m) => (m.userData.name ?? m.name) === node && 3 * most + 2 < count(m))
    if (fits.length < 2 || !point) return fits[0]
    const away = (m) => { const c = corners(m, triangles.slice(0, 1)); return Math.hypot(c[0] - point.x, c[1] - point.y, c[2] - point.z) }
    return fits.reduce((best, m) => (away(m) < away(best) ? m : best))
  }
}

const count = (m) => (m.geometry.index ?? m.geometry.attributes.position).count

// corners are the positions of triangles, nine numbers each, in the world's metres.
function corners(mesh, triangles) {
  mesh.updateWorldMatrix(true, false)
  const { index, attributes: { position } } = mesh.geometry
  const out = new Float32Array(9 * triangles.length)
  const p = new Vector3()
  triangles.forEach((t, i) => {
    for (let k = 0; k < 3; k++) p.fromBufferAttribute(position, index ? index.getX(3 * t + k) : 3 * t + k).applyMatrix4(mesh.matrixWorld).toArray(out, 9 * i + 3 * k)
  })
  return out
}

// facing is the mean normal of triangles weighted by area; null where they face all ways.
function facing(soup) {
  const a = new Vector3(), b = new Vector3(), c = new Vector3(), sum = new Vector3()
  for (let i = 0; i < soup.length; i += 9) {
    a.fromArray(soup, i); b.fromArray(soup, i + 3).sub(a); c.fromArray(soup, i + 6).sub(a)
    sum.add(b.cross(c))
  }
  return sum.lengthSq() > 0 ? sum.normalize() : null
}
