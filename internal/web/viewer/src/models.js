// The models of each revision: fetched when first wanted, kept, shown one revision at a time.
import { Box3, Group, MeshStandardMaterial } from 'three'
import { GLTFLoader } from 'three/addons/loaders/GLTFLoader.js'

export class Models {
  constructor(stage, setup) {
    this.stage = stage
    this.setup = setup
    this.loader = new GLTFLoader()
    this.kept = new Map() // address -> promise of a group
    this.now = {} // kind -> group that is shown
  }

  // show brings models of a revision onto the stage in place of those that are there. Kinds: game, sculpt, deviation.
  async show(revision, kinds, progress) {
    const wanted = {}
    for (const kind of kinds) {
      const address = revision[kind]
      if (address) wanted[kind] = await this.load(address, progress)
    }
    for (const group of Object.values(this.now)) this.stage.scene.remove(group)
    this.now = wanted
    for (const group of Object.values(wanted)) this.stage.scene.add(group)
    this.stage.draw()
  }

  load(address, progress) {
    if (!this.kept.has(address)) {
      const coming = this.loader.loadAsync(address, (e) => progress?.(e.loaded, e.total)).then((gltf) => this.prepared(gltf.scene))
      coming.catch(() => this.kept.delete(address)) // the next try asks anew
      this.kept.set(address, coming)
    }
    return this.kept.get(address)
  }

  prepared(scene) {
    const group = new Group()
    group.add(scene)
    scene.traverse((o) => {
      if (!o.isMesh) return
      if (!o.geometry.attributes.normal) o.geometry.computeVertexNormals()
      o.userData.own = o.material
      for (const m of [o.material].flat()) {
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

export const clay = new MeshStandardMaterial({ color: 0xb0ada8, roughness: 0.75, metalness: 0 })
