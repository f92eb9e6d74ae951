package surface

// CageOffsets are the vectors from the game surface to a cage, in metres, 3 a corner of a triangle as the game surface lists
// them: those along which Reach casts its rays. A corner where no face with an area meets has a zero vector.
func (p *Pair) CageOffsets(cage Cage) []float32 {
	p.ready()
	out := make([]float32, 0, 3*len(p.game.Tri))
	front := cage.FrontMM / 1000
	for i, v := range p.game.Tri {
		var d vec
		switch cage.Kind {
		case CageMesh:
			d = sub(at(cage.Pos, v), at(p.game.Pos, v))
		case CageHard:
			t := i / 3 * 3
			a, b, c := at(p.game.Pos, p.game.Tri[t]), at(p.game.Pos, p.game.Tri[t+1]), at(p.game.Pos, p.game.Tri[t+2])
			if n := cross(sub(b, a), sub(c, a)); finite(n) && length(n) > 0 {
				d = scale(unit(n), front)
			}
		default:
			if n := p.skin.vert[p.skin.same[v]]; length(n) > 0 {
				d = scale(unit(n), front)
			}
		}
		w := narrow(d)
		out = append(out, w[:]...)
	}
	return out
}
