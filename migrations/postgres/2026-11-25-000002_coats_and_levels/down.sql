-- Takes the coats of copies and the observed levels away. Coats that were kept for a copy stay pools of their mould.
DROP INDEX cost_pools_one_coat_a_copy;
DROP INDEX cost_pools_replaces;
DROP INDEX cost_pools_treatment;
ALTER TABLE cost_pools DROP COLUMN replaces_id;
ALTER TABLE cost_pools DROP COLUMN copy_no;
ALTER TABLE cost_pools DROP COLUMN treatment_id;
DROP TABLE coat_inspections;
DROP TABLE treatment_vials;
DROP TABLE treatments;
DROP TABLE fill_observations;
