#!/usr/bin/env bash
# Sets the fit beside the same work in NumPy and SciPy, in one run, as ratios:
# absolute times say more about the machine. Wants bin/coilsweep (make build)
# and a python3 with SciPy (make deps). ROUNDS=5 runs of each, in turn; the
# least counts.
set -euo pipefail
here=$(cd "$(dirname "$0")" && pwd)
root=$(cd "$here/../.." && pwd)
rounds=${ROUNDS:-5}

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
least() { sort -g | head -n 1; }

# One model and the ladder, from the same start on the same 4 takes of 800
# points, beside one fit by SciPy.
(cd "$root/fit" && go test -c -o "$work/fit.test" . && "$work/fit.test" -test.run 'TestAgainstSciPy/one_ring' -test.short -dump "$work" >/dev/null)
for ((i = 0; i < rounds; i++)); do
	(cd "$root/fit" && "$work/fit.test" -test.run '^$' -test.bench '^BenchmarkOneModel$' -test.benchtime 10x) |
		awk '/ns\/op/ { print $3 / 1e9 }' >>"$work/model"
	(cd "$root/fit" && "$work/fit.test" -test.run '^$' -test.bench '^BenchmarkLadder$' -test.benchtime 1x) |
		awk '/ns\/op/ { print $3 / 1e9 }' >>"$work/ladder"
	"$python" "$here/joint.py" time "$work/one_ring.json" 2 | awk '{ print $1 }' >>"$work/scipy"
done
model=$(least <"$work/model") ladder=$(least <"$work/ladder") scipy=$(least <"$work/scipy")
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
{ read -r wall cpu memory; read -r swall scpu smemory; } < <("$python" "$here/measure.py" "$rounds" \
	"$coilsweep" fit "$coil" ::: "$python" "$here/take_to_result.py" "$work/stimulus.wav" "${takes[@]}")
echo "take to result: ours $wall s ($cpu s of CPU), NumPy and SciPy $swall s ($scpu s): $(ratio "$wall" "$swall") of the time, $(ratio "$cpu" "$scpu") of the CPU (wanted: 0.5)"
echo "memory: ours $memory MiB, NumPy and SciPy $smemory MiB: $(ratio "$memory" "$smemory") (wanted: 0.5)"
