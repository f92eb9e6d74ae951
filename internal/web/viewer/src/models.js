// The models of each revision: fetched when first wanted, kept while they are few, shown one revision at a time.
import { Box3, Group, MeshStandardMaterial } from 'three'
import { GLTFLoader } from 'three/addons/loaders/GLTFLoader.js'
import { mirroring } from './light.js'

// So many models are kept to come back to at once; each may be some 30 MB of memory.
const keptMost = 9

export class Models {
  constructor(stage, setup) {
    this.stage = stage
    this.setup = setup
    this.loader = new GLTFLoader()
    this.kept = new Map() // address -> promise of a group, the one that was asked for last at the end
    this.now = {} // kind -> group that is shown
    this.asked = 0
  }

  // show brings models of a revision onto the stage in place of those that are there: the first kind as soon as it is there,
  // the others when they have come; arrived is called each time. Kinds: game, sculpt, deviation. It answers false where
  // something else was asked for meanwhile, and leaves the stage to that.
  async show(revision, kinds, progress, arrived) {
    const mine = ++this.asked
    const addresses = kinds.filter((k) => revision[k]).map((k) => [k, revision[k]])
    const coming = addresses.map(([, address]) => this.load(address, progress))
    for (const c of coming) c.catch(() => {}) // told below, one after the other
    for (let i = 0; i < coming.length; i++) {
      const group = await coming[i]
      if (mine !== this.asked) return false
      if (i === 0) this.clear()
      this.now[addresses[i][0]] = group
      this.stage.scene.add(group)
      arrived?.()
    }
    this.letGo()
    this.stage.draw()
    return true
  }

  clear() {
    for (const group of Object.values(this.now)) this.stage.scene.remove(group)
    this.now = {}
  }

  load(address, progress) {
    const have = this.kept.get(address)
    const coming = have ?? this.loader.loadAsync(address, (e) => progress?.(e.loaded, e.total)).then((gltf) => this.prepared(gltf.scene))
    if (!have) coming.catch(() => this.kept.delete(address)) // the next try asks anew
    this.kept.delete(address)
    this.kept.set(address, coming)
    return coming
  }

  // letGo frees what was asked for longest ago and is not shown.
  letGo() {
    const shown = new Set(Object.values(this.now))
    let over = this.kept.size - keptMost
    for (const [address, coming] of this.kept) {
      if (over-- <= 0) return
      this.kept.delete(address)
      coming.then((group) => {
        if (shown.has(group)) { this.kept.set(address, coming); return }
        group.traverse((o) => {
          o.geometry?.dispose()
          for (const m of [o.userData.own ?? []].flat()) {
            for (const v of Object.values(m)) v?.isTexture && v.dispose()
            m.dispose()
          }
        })
      }, () => {})
    }
  }

  prepared(scene) {
    const group = new Group()
    group.add(scene)
    scene.traverse((o) => {
      if (!o.isMesh) return
      if (!o.geometry.attributes.normal) o.geometry.computeVertexNormals()
      o.userData.own = o.material
      for (const m of [o.material].flat()) {
        mirroring(m)
        for (const map of [m.map, m.normalMap, m.roughnessMap]) if (map) map.anisotropy = this.stage.renderer.capabilities.getMaxAnisotropy()
      }
    })
    return group
  }

  meshes(kind) {
    const out = []
    this.now[kind]?.traverse((o) => { if (o.isMesh && !o.userData.twin) out.push(o) })
    return out
  }

  box() {
    const box = new Box3()
    for (const kind of ['game', 'deviation', 'sculpt']) {
      if (this.now[kind]) return box.setFromObject(this.now[kind])
    }
    return box
  }
}

export const clay = mirroring(new MeshStandardMaterial({ color: 0xb0ada8, roughness: 0.75, metalness: 0 }))
