// Labels that hang on places of the surface and follow the camera. What is worked out once stays worked out: a frame
// makes no objects, and touches no label that has not moved.
import { Vector3 } from 'three'

const seen = new Vector3(), towards = new Vector3()

export class Marks {
  constructor(box, stage) {
    this.box = box
    this.stage = stage
    this.list = [] // {el, at, normal, pinned, x, y}
  }

  // add hangs a label on a place in metres. A pinned one stays when the others are cleared; one with a normal is faint
  // where its side is turned away.
  add(at, text, { normal = null, pinned = '', className = '' } = {}) {
    const el = document.createElement('span')
    el.textContent = text
    el.className = className
    if (pinned) el.dataset.pinned = pinned
    this.box.append(el)
    this.list.push({ el, at: at.clone(), normal, pinned, x: NaN, y: NaN })
  }

  clear({ pinned = false } = {}) {
    this.list = this.list.filter((m) => {
      if (Boolean(m.pinned) !== pinned) return true
      m.el.remove()
      return false
    })
  }

  // place moves the labels to where the camera sees their places.
  place() {
    const { camera, canvas } = this.stage
    for (const m of this.list) {
      if (m.normal) {
        const away = m.normal.dot(towards.copy(camera.position).sub(m.at)) < 0
        if (away !== m.away) m.el.classList.toggle('behind', m.away = away)
      }
      seen.copy(m.at).project(camera)
      const hidden = seen.z > 1
      if (hidden !== m.el.hidden) m.el.hidden = hidden
      const x = Math.round((seen.x + 1) * 5 * canvas.clientWidth) / 10, y = Math.round((1 - seen.y) * 5 * canvas.clientHeight) / 10
      if (x === m.x && y === m.y) continue
      m.x = x
      m.y = y
      m.el.style.transform = `translate(${x}px, ${y}px)`
    }
  }
}
