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
    for (const el of [...this.marks.children]) if (el.dataset.pinned) el.remove()
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
      const el = document.createElement('span')
      el.textContent = p.number
      el.dataset.pinned = p.number
      el.dataset.at = at.toArray().join(',')
      if (p.normal) el.dataset.normal = p.normal.join(',')
      el.className = 'pin' + (p.resolved ? ' settled' : '')
      this.marks.append(el)
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
      m.updateWorldMatrix(true, false)
      const pos = m.geometry.attributes.position, idx = m.geometry.index
      const n = idx ? idx.count : pos.count
      const corner = (v, i) => v.fromBufferAttribute(pos, idx ? idx.getX(i) : i).applyMatrix4(m.matrixWorld)
      for (let i = 0; i + 2 < n; i += 3) {
        corner(t.a, i); corner(t.b, i + 1); corner(t.c, i + 2)
        t.closestPointToPoint(place, on)
        const d = on.distanceToSquared(place)
        if (d < least) { least = d; best = { point: on.clone(), normal: t.getNormal(new Vector3()) } }
      }
    }
    return best
  }
}

// placeMarks moves what hangs on places to where the camera sees them; what faces away is faint.
export function placeMarks(marks, { camera, canvas }) {
  for (const el of marks.children) {
    const world = new Vector3(...el.dataset.at.split(',').map(Number))
    if (el.dataset.normal) {
      const away = new Vector3(...el.dataset.normal.split(',').map(Number)).dot(camera.position.clone().sub(world)) < 0
      el.classList.toggle('behind', away)
    }
    const p = world.project(camera)
    el.hidden = p.z > 1
    el.style.transform = `translate(${(p.x + 1) / 2 * canvas.clientWidth}px, ${(1 - p.y) / 2 * canvas.clientHeight}px)`
  }
}
