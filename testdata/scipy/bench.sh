#!/usr/bin/env bash
# Sets the fit beside the same work in NumPy and SciPy, in one run, as ratios:
# absolute times say more about the machine. Wants bin/coilsweep (make build)
# and a python3 with SciPy (make deps). ROUNDS=5 runs of each, in turn; the
# least counts. CPU time is compared where other work on the machine would
# disturb; NumPy has one thread, since its idle ones would count as well.
set -euo pipefail
here=$(cd "$(dirname "$0")" && pwd)
root=$(cd "$here/../.." && pwd)
rounds=${ROUNDS:-5}
export OPENBLAS_NUM_THREADS=1 OMP_NUM_THREADS=1

python=
for p in python3 /usr/bin/python3; do
	if "$p" -c 'import scipy' 2>/dev/null; then
		python=$p
		break
	fi
done
if [ -z "$python" ]; then
	echo "bench.sh: there is no python3 with SciPy: run 'make deps'" >&2
	exit 1
fi
coilsweep=$root/bin/coilsweep
if [ ! -x "$coilsweep" ]; then
	echo "bench.sh: there is no $coilsweep: run 'make build'" >&2
	exit 1
fi
work=$(mktemp -d)
trap 'rm -rf "$work"' EXIT

ratio() { awk -v a="$1" -v b="$2" 'BEGIN { printf "%.2f", a / b }'; }
measure() { "$python" "$here/measure.py" "$rounds" "$@"; }

# One model and the ladder, from the same start on the same 4 takes of 800
# points, beside one fit by SciPy.
cd "$root/fit/joint"
go test -c -o "$work/fit.test" .
"$work/fit.test" -test.run 'TestAgainstSciPy/one_ring' -test.short -dump "$work" >/dev/null
# The CPU time of one run of a benchmark: what more runs take more.
of_one() {
	local bench=("$work/fit.test" -test.run '^$' -test.bench "^Benchmark$1\$" -test.benchtime)
	measure "${bench[@]}" "$((1 + $2))x" ::: "${bench[@]}" 1x |
		awk -v n="$2" 'NR == 1 { a = $2 } NR == 2 { printf "%.4f", (a - $2) / n }'
}
model=$(of_one OneModel 40)
ladder=$(of_one Ladder 4)
read -r scipy _ < <("$python" "$here/joint.py" time "$work/one_ring.json" "$((2 * rounds))")
echo "one model:  SciPy's lm $scipy s, ours $model s: ours is $(ratio "$scipy" "$model") times as fast (wanted: 5)"
echo "the ladder: $ladder s: $(ratio "$ladder" "$scipy") of SciPy's single fits (wanted: at most 3)"

# From 4 takes of the default stimulus to L, C and R.
quiet() { "$@" >/dev/null 2>&1 || { echo "bench.sh: $* failed" >&2; exit 1; }; }
coil=$work/coil
quiet "$coilsweep" new "$coil" --name bench --dcr "7.85k@20C 0.5%"
quiet "$coilsweep" stimulus "$work/stimulus.wav"
takes=()
for added in 0 220 470 1000; do
	part=()
	[ "$added" = 0 ] || part=(--added-c "${added}p 1%")
	quiet "$coilsweep" measure "$coil" --bench virtual --take "c$added" --fixture-c "65p 5%" --fixture-r "1M 1%" "${part[@]}"
	takes+=("$coil/takes/c$added/capture.wav=${added}e-12")
done
# A search that 'measure' kept would stand for that of the fit.
anew=(sh -c 'rm -f "$1/fit.cache"; shift; exec "$@"' - "$coil" "$coilsweep" fit "$coil")
{ read -r wall cpu memory; read -r wall1 cpu1 _; read -r swall scpu smemory; } < <(measure \
	"${anew[@]}" ::: "${anew[@]}" --model "two rings" ::: \
	"$python" "$here/take_to_result.py" "$work/stimulus.wav" "${takes[@]}")
echo "4 takes to the result: NumPy and SciPy, two rings only: $swall s, $scpu s of CPU, $smemory MiB"
echo "  ours, whole ladder:   $wall s, $cpu s of CPU, $memory MiB: ratios $(ratio "$wall" "$swall"), $(ratio "$cpu" "$scpu"), $(ratio "$memory" "$smemory") (wanted: 0.5 of time and memory)"
echo "  ours, two rings only: $wall1 s, $cpu1 s of CPU: ratios $(ratio "$wall1" "$swall"), $(ratio "$cpu1" "$scpu")"
