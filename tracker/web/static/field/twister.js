// The first number that Python's random.Random(seed).random() gives: the Mersenne Twister MT19937 (Matsumoto and
// Nishimura, ACM Transactions on Modeling and Computer Simulation 8, 1998), seeded by its init_by_array.

const N = 624;
const M = 397;

function seeded(seed) {
  const key = [];
  for (let rest = BigInt(seed); rest > 0n || !key.length; rest >>= 32n) key.push(Number(rest & 0xffffffffn));
  const state = new Uint32Array(N);
  state[0] = 19650218;
  const mixed = (at) => state[at - 1] ^ (state[at - 1] >>> 30);
  for (let i = 1; i < N; i++) state[i] = Math.imul(1812433253, mixed(i)) + i;
  let i = 1;
  let j = 0;
  const wrap = () => {
    if (++i >= N) {
      state[0] = state[N - 1];
      i = 1;
    }
  };
  for (let k = Math.max(N, key.length); k; k--) {
    state[i] = (state[i] ^ Math.imul(mixed(i), 1664525)) + key[j] + j;
    wrap();
    if (++j >= key.length) j = 0;
  }
  for (let k = N - 1; k; k--) {
    state[i] = (state[i] ^ Math.imul(mixed(i), 1566083941)) - i;
    wrap();
  }
  state[0] = 0x80000000;
  return state;
}

// The output at a place of the first round; the first few need no more than the seeded state.
function output(state, at) {
  const both = (state[at] & 0x80000000) | (state[at + 1] & 0x7fffffff);
  let y = state[at + M] ^ (both >>> 1) ^ (both & 1 ? 0x9908b0df : 0);
  y ^= y >>> 11;
  y ^= (y << 7) & 0x9d2c5680;
  y ^= (y << 15) & 0xefc60000;
  y ^= y >>> 18;
  return y >>> 0;
}

// seed: a whole number of zero or more. A float in [0, 1) with 53 random bits, as Python makes it.
export function firstRandom(seed) {
  const state = seeded(seed);
  return ((output(state, 0) >>> 5) * 67108864 + (output(state, 1) >>> 6)) / 9007199254740992;
}
