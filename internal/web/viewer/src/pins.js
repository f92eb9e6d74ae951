// Notes at places on the surface. A pin of another delivery than the one that is shown stands on the nearest surface of
// what is shown, and says how far that is.
import { Triangle, Vector3 } from 'three'

export class Pins {
  constructor(stage, models, marks, setup) {
    Object.assign(this, { stage, models, marks, pins: setup.pins || [] })
    this.newest = Math.max(0, ...setup.revisions.map((r) => r.number))
    this.number = new Intl.NumberFormat(document.documentElement.lang, { maximumFractionDigits: 1 })
  }

  // show sets the pins onto the revision that is on the stage.
  show(revision, root) {
    this.marks.clear({ pinned: true })
    for (const p of this.pins) {
      let at = new Vector3(...p.at_mm).multiplyScalar(0.001)
      let told = ''
      if ((p.delivery || this.newest) !== revision.number) {
        const near = this.nearest(at)?.point
        if (near) {
          if (p.carried) told = p.carried.replace('{0}', this.number.format(near.distanceTo(at) * 1000))
          at = near
        }
      }
      p.point = at
      this.marks.add(at, '✎\u200a' + p.number, { normal: p.normal ? new Vector3(...p.normal) : null, pinned: String(p.number), className: 'pin' + (p.resolved ? ' settled' : '') })
      const line = root?.querySelector(`[data-pin="${p.number}"] .carried`)
      if (line) line.textContent = told
    }
    this.stage.draw()
  }

  // nearest is the point of the game mesh that is nearest to a place, in metres, and the normal there; null where there is no mesh.
  nearest(place) {
    const t = new Triangle(), on = new Vector3()
    let best = null, least = Infinity
    for (const m of this.models.meshes('game')) {
      const at = worldOf(m), idx = m.geometry.index?.array
      const n = idx ? idx.length : at.length / 3
      for (let i = 0; i + 2 < n; i += 3) {
        const a = 3 * (idx ? idx[i] : i), b = 3 * (idx ? idx[i + 1] : i + 1), c = 3 * (idx ? idx[i + 2] : i + 2)
        // Most triangles are told to be farther by the boxes round them alone.
        const x = outside(place.x, at[a], at[b], at[c]), y = outside(place.y, at[a + 1], at[b + 1], at[c + 1]), z = outside(place.z, at[a + 2], at[b + 2], at[c + 2])
        if (x * x + y * y + z * z >= least) continue
        t.a.fromArray(at, a); t.b.fromArray(at, b); t.c.fromArray(at, c)
        t.closestPointToPoint(place, on)
        const d = on.distanceToSquared(place)
        if (d < least) { least = d; best = { point: on.clone(), normal: t.getNormal(new Vector3()) } }
      }
    }
    return best
  }
}

// outside is how far a number is from the range of three others.
function outside(v, a, b, c) {
  const low = Math.min(a, b, c), high = Math.max(a, b, c)
  return v < low ? low - v : v > high ? v - high : 0
}

// worldOf are a mesh's positions in the world, three numbers a vertex, worked out once.
export function worldOf(mesh) {
  if (mesh.userData.world) return mesh.userData.world
  mesh.updateWorldMatrix(true, false)
  const pos = mesh.geometry.attributes.position
  const out = new Float32Array(3 * pos.count)
  const p = new Vector3()
  for (let v = 0; v < pos.count; v++) p.fromBufferAttribute(pos, v).applyMatrix4(mesh.matrixWorld).toArray(out, 3 * v)
  return mesh.userData.world = out
}
