DROP TABLE purchase_drafts;
