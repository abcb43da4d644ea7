package material

import (
	"fmt"
	"math"
	"strings"
)

// RoughnessModel names a published law of conductor loss against roughness.
type RoughnessModel int

// The models. Hammerstad and Groiss take the rms height, Cannonball the
// ten-point height Rz, Huray the spheres themselves.
const (
	Hammerstad RoughnessModel = iota
	Groiss
	Huray
	Cannonball
)

var modelNames = [...]string{"Hammerstad", "Groiss", "Huray", "cannonball-Huray"}

func (m RoughnessModel) String() string {
	if m < 0 || int(m) >= len(modelNames) {
		return fmt.Sprintf("RoughnessModel(%d)", int(m))
	}
	return modelNames[m]
}

// ParseRoughnessModel reads a model's name, whatever its case.
func ParseRoughnessModel(s string) (RoughnessModel, error) {
	for i, n := range modelNames {
		if strings.EqualFold(s, n) {
			return RoughnessModel(i), nil
		}
	}
	return 0, fmt.Errorf("no roughness model %q; there are %s", s, strings.Join(modelNames[:], ", "))
}

// Spheres is one size of sphere in the Huray model.
type Spheres struct {
	Radius  float64 // m
	Density float64 // spheres per flat area, 1/m²
}

// Roughness describes a rough metal surface. The zero value is smooth.
type Roughness struct {
	Model RoughnessModel
	// RMS height Rq, m; for Hammerstad and Groiss. It is not Ra (for a sine
	// Rq = 1.11 Ra) and not Rz (five to seven times Rq on foils, common
	// practice).
	RMS float64
	// Rz is the ten-point height, m; for Cannonball.
	Rz float64
	// Spheres for Huray, every size that stands on the surface.
	Spheres []Spheres
	// BaseRatio is the area of the matte base between the spheres over its
	// flat area, for Huray; zero stands for 1.
	BaseRatio float64
}

// Smooth says whether the surface has no roughness at all.
func (r Roughness) Smooth() bool {
	switch r.Model {
	case Huray:
		return len(r.Spheres) == 0 && r.BaseRatio <= 1
	case Cannonball:
		return r.Rz == 0
	}
	return r.RMS == 0
}

// Check reports a value that makes no sense, or one the model does not take.
func (r Roughness) Check() error {
	finite := func(x float64) bool { return x >= 0 && !math.IsInf(x, 1) }
	switch {
	case r.Model < Hammerstad || r.Model > Cannonball:
		return fmt.Errorf("roughness: no model %v", r.Model)
	case !finite(r.RMS) || !finite(r.Rz) || !finite(r.BaseRatio):
		return fmt.Errorf("roughness: rms %g m, Rz %g m, base ratio %g; none may be negative", r.RMS, r.Rz, r.BaseRatio)
	case r.BaseRatio != 0 && r.BaseRatio < 1:
		return fmt.Errorf("roughness: base ratio is %g; a rough surface is no smaller than a flat one", r.BaseRatio)
	case r.Model != Cannonball && r.Rz != 0:
		return fmt.Errorf("roughness: the %v model does not take Rz; give the rms height, or choose %v", r.Model, Cannonball)
	case (r.Model == Cannonball || r.Model == Huray) && r.RMS != 0:
		return fmt.Errorf("roughness: the %v model does not take an rms height; choose %v or %v", r.Model, Hammerstad, Groiss)
	case r.Model != Huray && (len(r.Spheres) != 0 || r.BaseRatio != 0):
		return fmt.Errorf("roughness: the %v model takes no spheres; choose %v", r.Model, Huray)
	}
	for _, s := range r.Spheres {
		if !(s.Radius > 0) || !(s.Density > 0) || math.IsInf(s.Radius, 0) || math.IsInf(s.Density, 0) {
			return fmt.Errorf("roughness: spheres of radius %g m, %g per m²; both must be above 0", s.Radius, s.Density)
		}
	}
	return nil
}

// Factor returns the factor K ≥ 1 by which roughness raises the resistance of
// a non-magnetic surface of conductivity sigma, in S/m, at frequency f, in Hz.
// See [Roughness.AtDepth].
func (r Roughness) Factor(f, sigma float64) float64 { return r.AtDepth(SkinDepth(f, sigma)) }

// AtDepth returns the factor K ≥ 1 by which roughness raises surface
// resistance where the skin depth is delta, in m.
//
//	Hammerstad  K = 1 + (2/π) atan(1.4 (Rq/δ)²)           up to 2, so it is low on very rough foil
//	Groiss      K = 1 + exp(−(δ/2Rq)^1.6)                 up to 2
//	Huray       K = B + (3/2) Σ N 4πa² / (1 + δ/a + δ²/2a²)   N spheres of radius a per flat area, B base ratio
//	Cannonball  Huray with 14 spheres of a = 0.06 Rz on a tile of 36 a², up to 8.33
//
// The first two are fits to grooves across the current and to measured
// boards; the others treat the nodules of treated foil.
//
// Sources: [hammerstad1980], [morgan1949]; [groiss1996]; [huray2010];
// [simonovich2015].
func (r Roughness) AtDepth(delta float64) float64 {
	if r.Smooth() {
		return 1
	}
	switch r.Model {
	case Hammerstad:
		q := r.RMS / delta
		return 1 + 2/math.Pi*math.Atan(1.4*q*q)
	case Groiss:
		return 1 + math.Exp(-math.Pow(delta/(2*r.RMS), 1.6))
	}
	k := r.base()
	for i := range r.sizes() {
		s := r.size(i)
		u := delta / s.Radius
		k += 1.5 * s.Density * 4 * math.Pi * s.Radius * s.Radius / (1 + u + u*u/2)
	}
	return k
}

// Complex returns the factor that multiplies the complex impedance of a
// smooth surface with wave number k, in 1/m (see [Metal.Wave]):
//
//	Huray, Cannonball  H = B + (3/2) Σ N 4πa² / (1 + 1/(ka))
//
// With k = (1+j)/δ the real part of H·(1+j)Rs is exactly the factor K of
// [Roughness.AtDepth] times Rs, and H, a function of √(jω) alone, is causal:
// the extra inductance belongs to the extra resistance. Hammerstad and
// Groiss are fits of the resistance only; for them ok is false and there is
// nothing published to return.
//
// Source: [bracken2012]; the identity is proved in TestHurayComplex.
func (r Roughness) Complex(k complex128) (factor complex128, ok bool) {
	if r.Smooth() {
		return 1, true
	}
	if r.Model != Huray && r.Model != Cannonball {
		return 0, false
	}
	h := complex(r.base(), 0)
	for i := range r.sizes() {
		s := r.size(i)
		h += complex(1.5*s.Density*4*math.Pi*s.Radius*s.Radius, 0) / (1 + 1/(k*complex(s.Radius, 0)))
	}
	return h, true
}

func (r Roughness) base() float64 {
	if r.BaseRatio == 0 {
		return 1
	}
	return r.BaseRatio
}

func (r Roughness) sizes() int {
	if r.Model == Cannonball {
		return 1
	}
	return len(r.Spheres)
}

func (r Roughness) size(i int) Spheres {
	if r.Model == Cannonball {
		a := 0.06 * r.Rz
		return Spheres{Radius: a, Density: 14 / (36 * a * a)}
	}
	return r.Spheres[i]
}
