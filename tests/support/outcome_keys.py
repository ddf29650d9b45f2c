"""The keys of `outcomes.json` that other programs rely on."""

from __future__ import annotations

from typing import Any

# The names other programs rely on; `+` marks what stands beside them.
KEYS: dict[str, Any] = {
    "verdict": ["base_stays_solid", "filler_flows", "summary", "+also_look_at"],
    "tube": [
        *("peak_C", "solidus_C", "margin_K", "bore_peak_C", "melted_wall_fraction"),
        *("+peak_surface", "+peak_position_m", "+peak_angle_deg"),
    ],
    "flange": [
        *("peak_C", "solidus_C", "margin_K"),
        *("+peak_surface", "+peak_position_m", "+peak_angle_deg"),
    ],
    "filler": [
        *("flow_C", "+wets_at_C", "peak_C", "+peak_angle_deg", "+superheat_K"),
        *("tube_side_wet", "flange_side_wet", "tube_side_surplus_K", "flange_side_surplus_K"),
        *("+stretch_surplus_K", "coldest_C", "+coldest_side", "+coldest_from_root_m"),
        *("+coldest_angle_deg", "+coldest_segment", "longest_dry_m"),
        *("+tube_side_dry_deg", "+flange_side_dry_deg"),
        *("shortest_liquid_s", "+median_liquid_s", "+brief_share"),
    ],
    "segments": [
        *("number", "start_s", "end_s", "from_deg", "to_deg", "start_C"),
        *("tube_peak_C", "flange_peak_C", "tube_side_wet", "flange_side_wet"),
        *("+wait_s", "+flowed_at_start"),
    ],
    "current": ["least_A", "mean_A", "most_A", "on_low_limit_s", "on_high_limit_s"],
    "time": ["arc_on_s", "total_s", "+simulated_s"],
    "heat": [
        *("arc_J", "filler_J", "lost_J", "stored_J", "imbalance"),
        *("+electrical_J", "+air_J", "+chill_J", "+bench_J"),
    ],
    "probes": ["T1", "T2", "plate"],
    "mesh": ["cells", "+layers", "+detail"],
    "march": ["steps", "name", "wall_s"],
    "versions": ["lapheat", "python", "numpy", "scipy", "numba", "fipy"],
    "soundness": [
        *("lap_filled", "hot_clearance_m", "sensitised_fraction"),
        *("+sensitised_fraction_cold_worked", "+sensitised_fraction_as_304"),
        *("+sensitised_surface", "+sensitised_height_m", "liquid_copper_s"),
        *("+tube_liquid_copper_s", "+flange_liquid_copper_s", "tint_width_m", "+bore_tint_m"),
        *("flange_t85_s", "+flange_t85_shortest_s", "+flange_t85_en_s", "+flange_above_a1_s"),
        "+notes",
    ],
    "strength": [
        *("lap_over_wall", "+filled_over_wall", "+lap_N", "+fillet_N", "joint_N"),
        *("tube_yield_N", "ratio", "+safety_factor", "+drier_side", "+missing"),
    ],
    "supplies": [
        *("rod_m", "filler_kg", "argon_m3", "+gas_s", "arc_energy_J"),
        *("+feed_m_s", "+fed_by_hand"),
    ],
    "alloys": ["held"],
}
