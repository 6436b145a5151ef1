package sensor

import "math"

// fit holds the normal equations of y on 1, x and z (least squares).
type fit struct {
	n, x, z, y, xx, xz, zz, xy, zy, yy float64
}

func (s *fit) add(x, z, y float64) {
	s.n, s.x, s.z, s.y = s.n+1, s.x+x, s.z+z, s.y+y
	s.xx, s.xz, s.zz, s.xy, s.zy, s.yy = s.xx+x*x, s.xz+x*z, s.zz+z*z, s.xy+x*y, s.zy+z*y, s.yy+y*y
}

// plane is what a fit came to.
type plane struct {
	slope, other       float64 // over x, over z
	slopeErr, otherErr float64 // standard errors
	rss                float64 // sum of squared rests
}

// solve is false where too few points, or x and z that go together, leave the
// slopes open.
func (s *fit) solve() (plane, bool) {
	if s.n < 4 {
		return plane{}, false
	}
	xx, xz, zz := s.xx-s.x*s.x/s.n, s.xz-s.x*s.z/s.n, s.zz-s.z*s.z/s.n
	xy, zy, yy := s.xy-s.x*s.y/s.n, s.zy-s.z*s.y/s.n, s.yy-s.y*s.y/s.n
	determinant := xx*zz - xz*xz
	if !(determinant > 1e-9*xx*zz) {
		return plane{}, false
	}
	p := plane{slope: (xy*zz - zy*xz) / determinant, other: (zy*xx - xy*xz) / determinant}
	p.rss = max(yy-p.slope*xy-p.other*zy, 0)
	variance := p.rss / (s.n - 3)
	p.slopeErr, p.otherErr = math.Sqrt(variance*zz/determinant), math.Sqrt(variance*xx/determinant)
	return p, true
}
