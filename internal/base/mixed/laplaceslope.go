package mixed

// slopes returns the derivatives of the Laplace deviance by θ of the terms and by β, at û with K
// decomposed. The derivative of log|K| goes through the weights, which depend on the linear
// predictor η and so, through û, on everything: with h_r = (ZΛK⁻¹ΛZ')_rr and W' = dW/dη,
//
//	d log|K| = Σ_r h_r W'_r dη_r + tr K⁻¹(dΛ Z'WZ Λ + Λ Z'WZ dΛ).
//
// Differentiating û = ΛZ'(y − μ) gives K dû = dΛ Z'(y − μ) − ΛZ'W(X dβ + Z dΛ û), so that with
// a = K⁻¹ΛZ'(h∘W') and κ = h∘W' − W∘ZΛa the first sum is κ'(X dβ + Z dΛ û) + a'dΛ Z'(y − μ).
func (l *laplace) slopes() (byTheta, byBeta []float64, ok bool) {
	if !l.invert() {
		return nil, nil, false
	}
	byTheta, byBeta = make([]float64, len(l.terms)), make([]float64, l.p())
	leverage := l.leverage(byTheta)
	a := make([]float64, len(l.u))
	l.gather(leverage, a)
	l.solve(a)
	levels := l.levels()
	first, second := a[:levels], a[levels:]
	for i := range levels {
		for row := l.frame.start[i]; row < l.frame.start[i+1]; row++ {
			pull := l.theta[0] * first[i]
			for _, columns := range l.groups {
				c := columns[row]
				pull += l.root[c] * second[c]
			}
			residual := l.residual[row]
			// From here on: the derivative of the deviance by the row's η, û held.
			leverage[row] -= l.weight[row]*pull + 2*residual
			byTheta[0] += leverage[row]*l.u[i] + first[i]*residual
			for g, columns := range l.groups {
				c := columns[row]
				byTheta[g+1] += leverage[row]*l.u[levels+int(c)] + second[c]*residual
			}
		}
	}
	l.project(leverage, byBeta)
	return byTheta, byBeta, true
}

// leverage returns h∘W' and adds the trace by Λ, 2·Σ(1 − K⁻¹)/θ over the levels of the term.
func (l *laplace) leverage(byTheta []float64) []float64 {
	h := make([]float64, l.rows)
	t := make([]float64, l.q)
	lead, q := l.theta[0], l.q
	for i := range l.own {
		diagonal := l.towards(i, t)
		if lead != 0 {
			byTheta[0] += 2 * (1 - diagonal) / lead
		}
		for row := l.frame.start[i]; row < l.frame.start[i+1]; row++ {
			sum := lead * lead * diagonal
			for g, columns := range l.groups {
				c := int(columns[row])
				sum -= 2 * lead * l.root[c] * t[c] / l.own[i]
				line := l.inverse[c*q : (c+1)*q]
				sum += l.root[c] * l.root[c] * line[c]
				for _, others := range l.groups[g+1:] {
					e := others[row]
					sum += 2 * l.root[c] * l.root[e] * line[e]
				}
			}
			h[row] = sum * l.skew[row]
		}
	}
	for f, term := range l.terms[1:] {
		for c := term.from; c < term.to && l.theta[f+1] != 0; c++ {
			byTheta[f+1] += 2 * (1 - l.inverse[c*q+c]) / l.theta[f+1]
		}
	}
	return h
}
