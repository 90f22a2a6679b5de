//! What the functions φ of a small matrix are written in.

/// A function of a matrix as a polynomial in it.
#[derive(Clone, Copy, Debug)]
pub struct Polynomial<const M: usize> {
    /// `at[k]` multiplies `A^k`.
    pub at: [f64; M],
    /// `by[k][j]`: derivative of `at[k]` by the coefficient `characteristic[j]` of `A^M = Σ characteristic[j] A^j`.
    pub by: [[f64; M]; M],
}

impl<const M: usize> Polynomial<M> {
    /// The same for `K` components, which are as many: a way to say so to the compiler.
    #[inline(always)]
    fn resized<const K: usize>(&self) -> Polynomial<K> {
        let one = |c: &[f64; M]| std::array::from_fn(|k| c[k]);
        Polynomial {
            at: one(&self.at),
            by: std::array::from_fn(|k| one(&self.by[k])),
        }
    }
}

/// φ₁, φ₂ and φ₃ of one matrix.
#[derive(Clone, Copy, Debug)]
pub struct Propagator<const M: usize> {
    pub phi1: Polynomial<M>,
    pub phi2: Polynomial<M>,
    pub phi3: Polynomial<M>,
}

impl<const M: usize> Propagator<M> {
    /// The same for `K` components, which are as many.
    #[inline(always)]
    pub fn resized<const K: usize>(&self) -> Propagator<K> {
        Propagator {
            phi1: self.phi1.resized(),
            phi2: self.phi2.resized(),
            phi3: self.phi3.resized(),
        }
    }
}

impl<const M: usize> From<[Polynomial<M>; 3]> for Propagator<M> {
    #[inline(always)]
    fn from([phi1, phi2, phi3]: [Polynomial<M>; 3]) -> Self {
        Propagator { phi1, phi2, phi3 }
    }
}
