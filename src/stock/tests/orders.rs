//! What is on order.

use serde_json::json;

use super::{at_bench, day};
use crate::catalogue::{ElastomerBody, KitBody, MaterialBody, SupplierBody};
use crate::stock::on_order::on_order;
use crate::stock::store::fixture::order_row;

#[test]
fn a_kit_on_order_counts_for_both_of_its_parts() {
    at_bench(|bench| {
        let base = bench.base("base", "0");
        let agent = bench.entry::<MaterialBody>(
            json!({"code": "agent", "name": "Agent", "kind": "curing_agent", "unit": "g"}),
        );
        bench.entry::<ElastomerBody>(
            json!({"code": "el", "name": "El", "base": "base", "curing_agent": "agent",
            "ratio": {"base": "10", "curing_agent": "1"}, "ratio_tolerance": "0.02", "density_g_per_ml": "1.03",
            "viscosity_pa_s": "3.5", "pot_life_min": "90", "cure": [{"temperature_c": "60", "minutes": "240"}]}),
        );
        let kit = bench.entry::<KitBody>(
            json!({"code": "kit", "name": "Kit", "elastomer": "el", "base_g": "1000", "curing_agent_g": "100"}),
        );
        let supplier = bench.entry::<SupplierBody>(json!({"code": "s", "name": "S"}));
        let gloves = bench.pieces("gloves");
        bench.run(|tx| {
            let (soon, late) = (Some(day("2026-03-10")), Some(day("2026-04-10")));
            order_row(
                tx,
                "O-1",
                supplier,
                &[
                    (kit, 2, None, None),
                    (base, 3, Some(500_000_000), late),
                    (gloves, 4, Some(50_000_000), soon),
                ],
            )?;
            order_row(tx, "O-2", supplier, &[(kit, 1, None, soon)])
        });
        let shown = |asked: &[i64]| {
            let found = bench.run(|tx| on_order(tx.conn, asked));
            let mut lines: Vec<String> = found
                .into_iter()
                .flat_map(|(material, list)| list.into_iter().map(move |a| (material, a)))
                .map(|(material, a)| {
                    let name = [(base, "base"), (agent, "agent"), (gloves, "gloves")]
                        .into_iter()
                        .find(|(id, _)| *id == material)
                        .map_or("?", |(_, name)| name);
                    let on = a.expected_on.map_or("unknown".into(), |d| d.to_string());
                    format!("{name} {} {on} {}", a.quantity, a.order)
                })
                .collect();
            // Of one material the order is the answer's own.
            lines.sort_by_key(|line| line.split(' ').next().map(str::to_owned));
            lines
        };
        assert_eq!(
            shown(&[base, agent]),
            [
                "agent 100 2026-03-10 O-2",
                "agent 200 unknown O-1",
                "base 1000 2026-03-10 O-2",
                "base 1500 2026-04-10 O-1",
                "base 2000 unknown O-1",
            ]
        );
        assert_eq!(shown(&[gloves]), ["gloves 200 2026-03-10 O-1"]);
        assert_eq!(shown(&[supplier]), Vec::<String>::new());
    });
}
