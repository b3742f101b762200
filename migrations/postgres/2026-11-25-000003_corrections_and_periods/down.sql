-- Takes corrections and closed periods away.
DROP TABLE period_reports;
DROP TABLE periods;
DROP TABLE charge_changes;
DROP TABLE price_shares;
DROP TABLE price_corrections;
